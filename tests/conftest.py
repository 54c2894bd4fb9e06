"""What holds for all tests: the same cases at each run, and what shares something costly stays on one worker."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# One thread for linear algebra, as each job of a run has: more would wait for each other, and cost twice the processor.
# Set before a test imports numpy; what a test starts takes it over.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

# What one process compiles no other compiles again: some hundred are started, and pytest rewrites every test file.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

from liftseries.study.plan_files import CENTRE, READ_FROM, TRUST  # noqa: E402

# Property tests draw the same cases at each run, and have no time limit that a busy machine could break.
# `--hypothesis-profile=anew` draws others.
settings.register_profile("repeated", derandomize=True, deadline=None)
settings.register_profile("anew", derandomize=False, deadline=None)
settings.load_profile("repeated")

# Rooms and files whose tests share a run, a bundle, a twin, fits or drawings: made on every worker, these would cost
# more than the tests do. In the order in which they are handed out, the longest first; then come single tests.
ON_ONE_WORKER = {
    "demo": [
        "whole_study/test_run.py",
        "whole_study/test_truth.py",
        "whole_study/test_files_of_a_run.py",
        "whole_study/test_examples_of_a_run.py",
    ],
    "small": [
        "whole_study/test_changes.py",
        "whole_study/test_kinds.py",
        "whole_study/test_crate.py",
        "whole_study/test_release_of_a_run.py",
        "whole_study/test_what_stays_home.py",
    ],
    "order": ["whole_study/test_order_of_rows.py", "whole_study/test_three_purposes.py"],
    "three_centres": ["whole_study/test_three_centres.py"],
    "faults": ["faults"],
    "release": ["release"],
    "twin": ["twin"],
    "pages": [
        "report/test_axe.py",
        "report/test_declarations.py",
        "report/test_depth_chapter.py",
        "report/test_docx.py",
        "report/test_figures.py",
        "report/test_figures_of_chapters.py",
        "report/test_numbers_and_words.py",
        "report/test_one_number.py",
        "report/test_pages.py",
    ],
    "comparison": ["report/test_comparison_figures.py", "report/test_comparison_report.py"],
    "chapters": [
        "report/test_as_read.py",
        "report/test_bone.py",
        "report/test_closing.py",
        "report/test_closing_supplement.py",
        "report/test_implants_told.py",
        "report/test_report_tables.py",
        "report/test_sensitivity_chapter.py",
        "report/test_series_chapter.py",
    ],
    "audit": ["report/test_audit_extra.py"],
    "membrane": ["report/test_membrane_chapter.py"],
    "messy": ["intake/test_messy.py"],
    "books": ["intake/books/test_returned_book.py"],
    "costs": ["intake/files/test_costs.py"],
    "headers": ["intake/forms/test_header_sets.py"],
    "faces": ["forms/test_faces.py"],
    "degenerate": ["models/test_degenerate.py"],
    "nothing_changes": ["models/test_nothing_changes.py"],
}
TESTS = Path(__file__).parent


@pytest.fixture(autouse=True)
def as_a_command_begins(monkeypatch):
    """What a command called in this process leaves in the environment for its jobs is gone with its test."""
    for name in (CENTRE, READ_FROM, TRUST):
        monkeypatch.setenv(name, "")


def group_of(test: str) -> str | None:
    """The group of a test, by its path and name from the checkout's root; None where it shares nothing."""
    groups = {f"tests/{path}": group for group, paths in ON_ONE_WORKER.items() for path in paths}
    return next((group for path, group in groups.items() if test.startswith((f"{path}::", f"{path}/"))), None)


def pytest_collection_modifyitems(items):
    if gone := [path for paths in ON_ONE_WORKER.values() for path in paths if not (TESTS / path).exists()]:
        raise pytest.UsageError(f"tests/conftest.py names what is not there: {gone}")
    order = [*ON_ONE_WORKER, None]
    items.sort(key=lambda item: order.index(group_of(item.nodeid)))


def pytest_collection_finish():
    """Modules and tests live to the end: a search for garbage among a million of their objects finds nothing."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    # Not by xdist's own mark: it writes the group into a test's name, which pytest 9.2 no longer lets it.
    from xdist.scheduler import LoadScopeScheduling

    class OneGroupOneWorker(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return group_of(nodeid) or nodeid.partition("::")[0]

    return OneGroupOneWorker(config, log)
