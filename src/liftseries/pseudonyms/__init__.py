"""Tables as a centre has them, with patients' own identifiers and dates, to tables that a study may hold.

**A key is made only on `--new-key`.** *Rival:* where it is absent; a mistyped path would then give other pseudonyms in
silence.
"""
