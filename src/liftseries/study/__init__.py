"""What a study may be: its plan, the columns of its tables, how its files are read."""
