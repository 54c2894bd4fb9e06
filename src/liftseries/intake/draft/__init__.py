"""The tables as they stand in the files, typed as far as they can be."""
