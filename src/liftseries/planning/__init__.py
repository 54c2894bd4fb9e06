"""Before the next case or study: the planned ladder of given heights, the number of patients."""
