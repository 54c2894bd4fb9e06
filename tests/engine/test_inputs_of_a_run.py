"""A run is made of the bytes that it began with: an input that changes, goes or comes meanwhile ends it."""

from __future__ import annotations

import dataclasses
import json
from types import SimpleNamespace

import pandas as pd
import pytest
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.base.outputs import write_csv
from liftseries.base.reading import reading_once, sha256
from liftseries.engine.job import Job
from liftseries.engine.provenance import MANIFEST
from liftseries.engine.spine import check_tables, write_manifest
from liftseries.intake.forms import files_read
from liftseries.intake.study import read_study
from liftseries.study.input_hashes import input_hashes, only
from liftseries.study.plan import read_plan
from liftseries.study.schema import TABLES


def job_of(tmp_path, study, does: str) -> Job:
    """The job as the Snakefile sets it up, when the study is as it is now."""
    plan = read_plan(study)
    begun = input_hashes(plan)
    params = {"study": str(study), "begun": begun}
    inputs = {"outputs": [str(tmp_path / "results.csv")], "between": []}
    if does == "check":
        written = plan.as_written
        params |= {name: written[name] for name in ("tables", "extra_columns", "reading", "invalid_rows")}
        params["begun"] = only(begun, plan, *TABLES)
    else:
        pd.DataFrame({"site_id": ["s1"], "surgery_year": [2018]}).to_parquet(tmp_path / "cases.parquet")
        pd.DataFrame({"site_id": ["s1"], "months": [13.0]}).to_parquet(tmp_path / "visits.parquet")
        inputs |= {name: str(tmp_path / f"{name}.parquet") for name in ("cases", "visits")}
    left = [*TABLES, "counts", "not_applicable", "set_aside", "decisions", "manifest", "crate"]
    outputs = {name: str(tmp_path / f"{name}.out") for name in left}
    spaces = (SimpleNamespace(**each) for each in (inputs, outputs, params, {}))
    return Job(*spaces, log=str(tmp_path / "log"))


CHANGES = {
    "a changed table": (lambda study: (study / "visits.csv").open("a").write("\n"), "visits.csv: changed"),
    "a table that is gone": (lambda study: (study / "visits.csv").unlink(), "visits.csv"),
    "a plan with another title": (
        lambda study: (study / "study.yaml").open("a").write("invalid_rows: set_aside\n"),
        "study.yaml: changed",
    ),
}


@pytest.mark.parametrize(("change", "told"), CHANGES.values(), ids=CHANGES)
@pytest.mark.parametrize("does", ["check", "manifest"])
def test_an_input_changed_while_a_run_is_on_ends_it(tmp_path, does, change, told):
    study = write_study(tmp_path / "study")
    write_csv(tmp_path / "results.csv", pd.DataFrame({"analysis": []}))
    job = job_of(tmp_path, study, does)
    change(study)
    with pytest.raises(StudyError, match=told):
        (check_tables if does == "check" else write_manifest)(job)
    assert not (tmp_path / "manifest.out").exists()


def test_corrections_that_come_while_a_run_is_on_end_it(tmp_path):
    study = write_study(tmp_path / "study")
    job = job_of(tmp_path, study, "manifest")
    (study / "corrections.csv").write_text("table,file,row,column,old_sha256,value\n", encoding="utf-8")
    with pytest.raises(StudyError, match=r"corrections.csv: came while the run was on"):
        write_manifest(job)


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_what_is_hashed_is_what_was_read_though_the_file_changes_between_two_tables(tmp_path, ending, monkeypatch):
    """A workbook is opened once for each of its six tables; here it is another one from the second on."""
    study = write_study(tmp_path / "study", ending=ending)
    plan = read_plan(study)
    before = {path: sha256(path) for path in plan.files()}
    read_sheet = files_read.read_sheet

    def then_changed(*given):
        sheet = read_sheet(*given)
        for path in before:
            path.write_bytes(b"")
        return sheet

    whole = read_study(plan)
    monkeypatch.setattr(files_read, "read_sheet", then_changed)
    with reading_once() as read:
        if ending == "xlsx":
            pd.testing.assert_frame_equal(read_study(plan).tables["visits"], whole.tables["visits"])
        else:
            with pytest.raises(StudyError):
                read_study(plan)
    table = "study.xlsx" if ending == "xlsx" else f"patients.{ending}"
    assert read.hashes()[study / table] == before[study / table]


def test_manifest_and_crate_name_the_same_hashes(tmp_path, monkeypatch):
    study = write_study(tmp_path / "study", plan="output: output")
    output = study / "output"
    output.mkdir()
    write_csv(output / "results.csv", pd.DataFrame({"analysis": []}))
    job = job_of(tmp_path, study, "manifest")
    monkeypatch.chdir(output)
    outputs = SimpleNamespace(manifest=MANIFEST, crate="ro-crate-metadata.json")
    inputs = SimpleNamespace(**{**vars(job.inputs), "outputs": ["results.csv"]})
    write_manifest(dataclasses.replace(job, outputs=outputs, inputs=inputs))
    manifest, crate = (json.loads((output / name).read_text(encoding="utf-8")) for name in vars(outputs).values())
    entities = {entity["@id"]: entity for entity in crate["@graph"]}
    for name, digest in manifest["inputs"].items():
        assert entities[f"#input/{name}"]["sha256"] == digest == sha256(study / name)
    assert entities["results.csv"]["sha256"] == manifest["outputs"]["results.csv"]
    assert manifest["outputs"]["ro-crate-metadata.json"] == sha256(output / "ro-crate-metadata.json")
    assert entities["./"]["datePublished"] == "2019-02"  # surgery in 2018, seen 13 months later
