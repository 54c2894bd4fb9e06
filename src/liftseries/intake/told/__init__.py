"""What is told of a cell: a problem with its place, a decision taken by rule, a verdict on a value."""
