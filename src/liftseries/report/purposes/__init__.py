"""A report a purpose: its chapters in order, its first page."""
