"""Tables as a centre has them, with patients' own identifiers and dates, to tables that a study may hold.

**What may stand in a column stands there, all else is blank.** *Situation:* a screen finds what looks like an
identifier; a surname in a column of numbers does not. *Choice:* a cell is written only if it is a number in its
column's range, a level, a code of ours or a year, an age, months; the rest is blank, told by place and kind. *Rival:*
to refuse the run until each cell is mended, in the file, by hand. *Consequence:* a wrong cell is a missing one.

**Numbers of patients and sites are hashed with their scope**, the patient's centre, else what the names of the files
have beside the table's: two centres both have a patient 12. *Rival:* the key alone as the scope; then centres that
share a key merge two people in silence. An operator may work in two centres: one name is one person, which is told.

**A label's code is its keyed hash, not its rank.** *Rival:* 1, 2, 3 in the order of the hash. One more label, or
another centre's key, would give the same number to another protocol in silence, and a later run other codes to the same
operators.

**A key is made only on `--new-key`.** *Rival:* where it is absent; a mistyped path would then give other pseudonyms in
silence.
"""
