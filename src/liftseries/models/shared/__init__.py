"""What the analyses share: design matrix, levels, rows of results.csv, follow-up, imputation, separation."""
