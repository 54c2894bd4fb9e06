"""The report for publication: every chapter."""
