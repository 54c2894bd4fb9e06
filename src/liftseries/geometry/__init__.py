"""Drill depths, planned ladder, guide engagement, lift and deviations. Knows no file and no plan."""
