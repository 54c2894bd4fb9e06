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

# Rooms and files whose tests share a run, a bundle, a twin or drawn figures: made on every worker, these would cost
# more than the tests do. In the order in which they are handed out, the longest first; then come single tests.
ON_ONE_WORKER = (
    "whole_study",
    "release",
    "twin",
    "report",
    "intake/test_messy.py",
    "intake/test_returned_book.py",
    "models/test_degenerate.py",
)


def pytest_configure(config):
    config.addinivalue_line("markers", "xdist_group(name): tests of a name run on one worker, where there are several")


def pytest_collection_modifyitems(items):
    def place(item) -> int:
        path = item.path.relative_to(Path(__file__).parent)
        return next((at for at, shared in enumerate(ON_ONE_WORKER) if path.is_relative_to(shared)), len(ON_ONE_WORKER))

    items.sort(key=place)
    for item in items:
        if place(item) < len(ON_ONE_WORKER):
            item.add_marker(pytest.mark.xdist_group(ON_ONE_WORKER[place(item)]))
