"""The report for a committee: how units lie to a standard and to each other."""
