"""Tables as a centre has them, with patients' own identifiers and dates, to tables that a study may hold."""
