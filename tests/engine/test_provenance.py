"""What makes a job run again."""

from __future__ import annotations

import ast
import json
import re
import shutil
import sys
from importlib.metadata import packages_distributions

import pytest

from liftseries.base import home
from liftseries.engine import provenance, standing
from liftseries.engine.crate import FORMATS
from liftseries.report.kit.declarations import functions_drawing
from liftseries.report.purposes import figures_of, names


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


def test_a_changed_template_of_pages_draws_no_figure_again(tmp_path, monkeypatch):
    copied = shutil.copytree(home.folder("reports"), tmp_path / "reports")
    monkeypatch.setattr(provenance, "folder", lambda name: copied if name == "reports" else home.folder(name))
    drawing = {name for of in figures_of(names()).values() for name in functions_drawing(of)}
    functions = [*sorted(drawing), "liftseries.report.pages.page:written_page"]
    before = [provenance.code_behind.__wrapped__(function) for function in functions]
    (copied / "report.html.j2").write_text("another", encoding="utf-8")
    after = [provenance.code_behind.__wrapped__(function) for function in functions]
    assert before[:-1] == after[:-1]
    assert before[-1] != after[-1]


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


# ── libraries and bytes ─────────────────────────────────────────────────────────────────────────────────────

ROOMS_OF_BYTES = ("base", "estimators", "geometry", "intake", "models", "report", "engine")
# Libraries that these rooms import and that put nothing into a file.
NO_BYTES = {"filelock", "jsonschema", "psutil", "pyyaml", "python-stdnum", "markupsafe"}


def test_every_library_that_a_run_calls_is_named_with_the_kinds_whose_bytes_it_may_change():
    """A new import is named in `MAY_CHANGE`, so that a manifest tells its version, or here as one without bytes."""
    files = [file for room in ROOMS_OF_BYTES for file in (provenance.PACKAGE / room).rglob("*.py")]
    nodes = [node for file in files for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))]
    roots = {name.name for node in nodes if isinstance(node, ast.Import) for name in node.names}
    roots |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module and not node.level}
    called = packages_distributions()
    roots = {root.partition(".")[0] for root in roots} - {*sys.stdlib_module_names, "liftseries"}
    found = {name.lower() for root in roots for name in called.get(root, [root])}
    assert found >= {"pandas", "typst"}
    assert found <= {*provenance.MAY_CHANGE, *NO_BYTES}


def test_every_kind_of_file_that_a_run_leaves_is_one_that_a_library_may_change():
    kinds = {kind for kinds in provenance.MAY_CHANGE.values() for kind in kinds}
    assert {*FORMATS} - kinds <= {".py", ".R", ".yaml"}  # shipped as they are


def test_the_changelog_names_the_versions_of_the_lock():
    """A lock that takes another version fails here until the changelog says so to those who compare bytes."""
    home = provenance.PACKAGE.parents[1]
    lock = (home / "requirements.txt").read_text(encoding="utf-8")
    told = (home / "CHANGELOG.md").read_text(encoding="utf-8")
    (line,) = re.findall(r"(?s)- \*\*Bytes\*\* rest on .*?(?=\n- |\n\n)", told)
    said = dict(re.findall(r"([a-z][\w-]+) (\d[\d.]*\d(?: / \d[\d.]*\d)*)", " ".join(line.split())))
    for library in provenance.MAY_CHANGE:
        locked = sorted(set(re.findall(rf"(?m)^{library}==(\S+)", lock)))
        assert said.get(library) == " / ".join(locked), library


def test_a_manifest_names_the_version_of_each():
    assert {*provenance.MAY_CHANGE} < {*provenance.versions()}
