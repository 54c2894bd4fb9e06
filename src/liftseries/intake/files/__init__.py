"""What a file holds, cell by cell with its place: CSV, workbooks, Parquet; where its header is.

**Two readers of workbooks.** *Situation:* openpyxl says what a cell really holds and is slow; calamine is fast and
loses formulas without a stored value, formats and errors. *Choice:* a look over the sheet's XML first; calamine only
where every cell is plain. *Rival:* openpyxl alone. *Consequence:* a change in one must be made in the other; hypothesis
holds the two to the same sheet.
"""
