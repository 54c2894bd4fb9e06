"""What makes a job run again."""

from __future__ import annotations

import json
import shutil

import pytest

from liftseries.base import home
from liftseries.engine import provenance, standing


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


@pytest.mark.parametrize(("purposes", "reads"), [(["publication", "audit"], True), (["publication"], False)])
def test_a_run_is_no_longer_up_to_date_once_a_file_came_that_study_yaml_need_not_name(tmp_path, purposes, reads):
    study, output = tmp_path / "study", tmp_path / "study" / "output"
    output.mkdir(parents=True)
    (study / "study.yaml").write_text("purpose: audit\n", encoding="utf-8")
    (output / "results.csv").write_text("analysis\n", encoding="utf-8")
    last = {
        "plan": {"purpose": purposes, "tables": {"patients": ["patients.csv"]}},
        "versions": provenance.versions(),
        "code": provenance.all_code(),
        "between": {},
        "inputs": {"study.yaml": provenance.sha256(study / "study.yaml")},
        "outputs": provenance.output_hashes(output, ["results.csv"]),
    }
    (output / provenance.MANIFEST).write_text(json.dumps(last), encoding="utf-8")
    assert standing.is_up_to_date(study, output)
    (study / "responses.csv").write_text("year,unit\n", encoding="utf-8")
    assert standing.is_up_to_date(study, output) != reads
