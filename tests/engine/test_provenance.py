"""What makes a job run again."""

from __future__ import annotations

import shutil

import pytest

from liftseries.base import home
from liftseries.engine import provenance


@pytest.fixture
def schemas(tmp_path, monkeypatch):
    """A copy of the schemas, in which a test may change something."""
    copied = shutil.copytree(home.folder("schemas"), tmp_path / "schemas")
    monkeypatch.setattr(provenance, "folder", lambda name: tmp_path / name)
    return copied


@pytest.mark.parametrize(
    ("job", "changes"),
    [
        ("liftseries.intake.study:read_study", True), ("liftseries.models.gain.mixed:fit_gain_mixed", True),
        ("liftseries.report.series.tables:series", True),
        ("liftseries.estimators.gee:logistic_gee", False), ("liftseries.estimators.turnbull:turnbull", False),
    ],
)  # fmt: skip
def test_a_changed_column_runs_again_what_reads_it(schemas, job, changes):
    code = provenance.code_behind.__wrapped__
    before = code(job)
    declared = (schemas / "sites.yaml").read_text(encoding="utf-8")
    (schemas / "sites.yaml").write_text(declared.replace("reference: freehand", "reference: guided"), encoding="utf-8")
    assert (code(job) != before) == changes
