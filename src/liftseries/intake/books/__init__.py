"""The correction workbook: refused rows out to those who typed them, and back.

The workbook carries a mark of each row's state, not the old values: it can be sorted, split and handed back twice, and
the files behind it may be sorted or grow in the meantime. The mark names the study, so that no other takes it over.
What a row left out would leave without its key is listed and goes along only where somebody consents.
Every cell of it is a text, since spreadsheet programs make dates of numbers and run what begins with `=`.
"""
