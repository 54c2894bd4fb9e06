"""Corrected cells, laid over the files that stay as they were sent.

**Corrections lie over the files.** *Situation:* what a centre sent must stay as it was, a correction must be
traceable, and files come again sorted and longer. *Choice:* `corrections.csv`, a line a cell, known by table, key of
the row before corrections, column and a keyed hash of what stood there, put over the raw cells before they are typed;
nothing is deleted, a later line supersedes. *Rivals:* writing into the centre's file; lines by row number, which a
sorted file voids. *Consequence:* a cell that the centre changes to a third value needs its correction again, its row
does not.

**A key of its own for the hashes.** *Situation:* a plain hash of a cell is guessed in a second. *Choice:* HMAC with
`corrections.key` beside study.yaml, which no output holds or depends on. *Rival:* no hash, which would put a line over
a value nobody looked at. *Consequence:* without the key a line applies only with `--trust`.

**Copies are one row, rows alike without a key are not.** Exact copies of a row with a key are corrected by one line.
Two rows without a key that look alike may be two sites, so a line for them is ambiguous and changes nothing.
"""
