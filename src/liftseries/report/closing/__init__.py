"""The last chapters: limits, methods, versions, what was withheld."""
