"""Drill depths, planned ladder, guide engagement, lift and deviations. Arrays in, arrays out: knows no file and no plan."""
