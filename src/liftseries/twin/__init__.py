"""A synthetic twin of a study: made-up patients in tables like the real ones, to share and to try the pipeline on."""
