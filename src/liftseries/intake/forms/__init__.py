"""A file's own columns and rows made those of a table, by the closed list of forms; every cell changed is counted.

**A sheet in, a sheet out.** *Situation:* checks, corrections and messages know a sheet whose header is the
dictionary's. *Choice:* forms give just such a sheet, whose places point at the cells of the file; what they cannot
take stands in the cell's place as `Refused`, and becomes a problem like any other. *Rival:* tables, with checks of
their own for what was mapped.

**A decision a column and form, with its number of cells.** *Rival:* one a cell, which for a prefix would be a line
for every row of every table, read by nobody.

**What is ignored is screened.** *Situation:* a column of remarks is not read, but lies in the folder and goes where
it goes. *Choice:* the screen for identifiers looks at it as at any other; one that was looked at is cleared by its
name in the file. *Rival:* not to look, by which a name in a remark stays in the house's files unseen.
"""
