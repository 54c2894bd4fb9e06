"""Corrected cells, laid over the files that stay as they were sent.

**Corrections lie over the files.** *Situation:* what a centre sent must stay as it was, and a correction must be
traceable. *Choice:* `corrections.csv`, a line a cell, with the fingerprint of the row as filed, put over the raw cells
before they are typed. *Rivals:* writing into the centre's file; corrections by key, which fail where the key itself is
wrong. *Consequence:* a row that changes in any cell needs its correction again.
"""
