"""The correction workbook: refused rows out to those who typed them, and back.

The workbook carries a mark of each row's state, not the old values: it can be sorted, split and handed back twice.
Every cell of it is a text, since spreadsheet programs make dates of numbers and run what begins with `=`.
"""
