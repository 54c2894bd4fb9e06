"""Patients drawn with replacement: each replicate has its own seed, so that no answer depends on how they are split."""

import numpy as np


def patients_drawn(n_patients: int, seed: int, topic: int, first: int, n: int) -> np.ndarray:
    """How often each patient stands in each resample.

    Parameters
    ----------
    n_patients : how many are drawn, out of as many
    seed : of the study
    topic : of the analysis, so that no two analyses draw the same
    first, n : the number of the first replicate, and how many

    Returns
    -------
    shape (n, n_patients), counts
    """
    drawn = (
        np.random.default_rng([seed, topic, replicate]).integers(0, n_patients, n_patients)
        for replicate in range(first, first + n)
    )
    return np.array([np.bincount(patients, minlength=n_patients) for patients in drawn]).reshape(n, n_patients)
