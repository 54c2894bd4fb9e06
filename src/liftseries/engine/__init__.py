"""One run of the workflow and one job of it: locks, logs, chunks of a resampling, hashes of what a run was made of."""
