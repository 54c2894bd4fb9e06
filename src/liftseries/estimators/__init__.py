"""Arrays in, numbers out: the estimators that the questions share. Know no table and no plan."""
