"""What is wrong with a draft: within a row, across rows and tables, identifiers, lengths ten times too small.

**A length ten times too small is told, never changed.** *Situation:* centimetres typed for millimetres may lie within
the column's range. *Choice:* a decision where a modified z above 3.5 on the logarithm falls below 2 after a step of the
decimal mark, in columns of millimetres that must be above nought. *Rival:* all columns of millimetres, which gave 118
false alarms on the demo series.

**One death a patient.** Visits are dated in months since each site's own placement, and placement only by year, so two
deaths of a patient contradict each other only where the year-wide windows of `surgery_year + months/12` cannot overlap.
"""
