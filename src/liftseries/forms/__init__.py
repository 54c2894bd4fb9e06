"""The blank forms that the schemas give: dictionary, entry workbook, data package, starting folder.

**Limits of the entry workbook are formulas,** one a column, for the limit and the mark alike, so that a pasted value is
marked too. *Rival:* the program's typed limits, which cannot say "above 0, at most 20". *Consequence:* number cells
keep the general format: a date made of `5.2` stays visible, and `check` refuses it. The example has a sheet of its own,
which no plan names; a row to delete is forgotten.
"""
