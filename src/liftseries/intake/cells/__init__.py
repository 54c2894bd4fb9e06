"""What a cell means: a number, a tooth, a unit, a level, a missing value."""
