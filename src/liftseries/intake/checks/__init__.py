"""What is wrong with a draft: within a row, across rows and tables, identifiers, lengths ten times too small."""
