"""What points at a person: the kinds of identifier, and the screen that looks for them in cells.

**An identifier belongs to the column, not to the row.** *Situation:* a row set aside would carry it along. *Choice:* a
finding without a row, which stops every run.

**Precision before recall in free labels.** *Situation:* a false alarm stops a study. *Choice:* two capitalised words
are a name in key columns only; number shapes that chance makes need several texts that all pass their check digit.
"""
