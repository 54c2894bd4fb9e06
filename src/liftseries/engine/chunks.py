"""Into which jobs a resampling is split. Each replicate has its own seed, so the split changes no answer."""

from __future__ import annotations

REPLICATES_A_JOB = {"perforation_validation": 500, "survival_turnbull": 500}
REPLICATES_A_JOB |= {"perforation_imputed": 10, "survival_imputed": 10}


def chunk_files(question: str, n: int) -> list[str]:
    """The files that the jobs of `n` replicates leave, in the order of the replicates."""
    return [f"models/draws/{question}_{first}.csv" for first in range(0, n, REPLICATES_A_JOB[question])]


def n_in_chunk(question: str, first: int, n: int) -> int:
    """How many of `n` replicates the job that begins with number `first` draws."""
    return min(REPLICATES_A_JOB[question], n - first)
