"""What holds for all tests: the same cases at each run, and what shares something costly stays on one worker."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

# Property tests draw the same cases at each run, and have no time limit that a busy machine could break.
# `--hypothesis-profile=anew` draws others.
settings.register_profile("repeated", derandomize=True, deadline=None)
settings.register_profile("anew", derandomize=False, deadline=None)
settings.load_profile("repeated")

# Rooms whose tests share a run, a bundle, a twin or drawn figures: made twice, they would cost more than they spread.
ON_ONE_WORKER = ("whole_study", "release", "report", "twin")


def pytest_collection_modifyitems(items):
    for item in items:
        room = item.path.relative_to(Path(__file__).parent).parts[0]
        if room in ON_ONE_WORKER:
            item.add_marker(pytest.mark.xdist_group(room))
