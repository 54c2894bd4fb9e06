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
    ("rooms", "changes"),
    [
        (("estimators", "models"), True), (("models/gain",), True), (("report",), True), (("intake", "schemas"), True),
        (("geometry",), False), (("estimators",), False),
    ],
)  # fmt: skip
def test_a_changed_column_runs_again_what_reads_it(schemas, rooms, changes):
    code = provenance.code_of.__wrapped__
    before = code(*rooms)
    declared = (schemas / "sites.yaml").read_text(encoding="utf-8")
    (schemas / "sites.yaml").write_text(declared.replace("reference: freehand", "reference: guided"), encoding="utf-8")
    assert (code(*rooms) != before) == changes
