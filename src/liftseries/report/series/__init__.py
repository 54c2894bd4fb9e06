"""The chapter on who is in the series."""
