"""Every replicate falls into exactly one job."""

import re

import pytest

from liftseries.engine.chunks import REPLICATES_A_JOB, chunk_files, n_in_chunk


@pytest.mark.parametrize("question", REPLICATES_A_JOB)
@pytest.mark.parametrize("n", [1, 9, 10, 11, 500, 1234])
def test_jobs_cover_each_replicate_once(question, n):
    firsts = [int(re.search(r"_(\d+)\.csv", path)[1]) for path in chunk_files(question, n)]
    drawn = [first + k for first in firsts for k in range(n_in_chunk(question, first, n))]
    assert drawn == list(range(n))
