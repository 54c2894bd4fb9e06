"""Whether a finished run still stands: every file it rests on, known by size and times or else by its bytes."""

from __future__ import annotations

import json
import os
import time

import pytest
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.engine import standing
from liftseries.engine.provenance import MANIFEST, all_code, output_hashes, sha256, versions
from liftseries.release.bundle import release
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan


@pytest.fixture
def run(tmp_path):
    """A study folder with what a run left, all of it older than a change that no time shows."""
    output = tmp_path / "output"
    for name in ("results.csv", "work/cases.csv", "tables/a.csv", "tables/b.csv"):
        (output / name).parent.mkdir(parents=True, exist_ok=True)
        (output / name).write_text(f"{name}\n", encoding="utf-8")
    for name in ("study.yaml", "patients.csv"):
        (tmp_path / name).write_text(f"{name}\n", encoding="utf-8")
    manifest = {
        "plan": {"purpose": ["publication"], "tables": {}},
        "versions": versions(),
        "code": all_code(),
        "inputs": {name: sha256(tmp_path / name) for name in ("study.yaml", "patients.csv")},
        "outputs": output_hashes(output, ["results.csv", "tables"]),
        "between": output_hashes(output, ["work/cases.csv"]),
        "folders": ["tables"],
    }
    (output / MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")
    hour = time.time() - 3600
    for path in tmp_path.rglob("*"):
        os.utime(path, (hour, hour))
    return tmp_path


def stands(run) -> bool:
    return standing.is_up_to_date(run, run / "output")


@pytest.mark.parametrize("name", ["patients.csv", "output/results.csv", "output/work/cases.csv", "output/tables/b.csv"])
@pytest.mark.parametrize("looked_before", [False, True])
def test_a_file_edited_to_the_same_size_and_time_does_not_pass(run, name, looked_before):
    assert not looked_before or stands(run)
    path = run / name
    before = path.stat()
    path.write_bytes(path.read_bytes().upper())
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert not stands(run)


@pytest.mark.parametrize("name", ["patients.csv", "output/work/cases.csv"])
def test_a_file_that_is_gone_does_not_pass(run, name):
    assert stands(run)
    (run / name).unlink()
    assert not stands(run)


def test_an_unchanged_run_reads_no_file_twice(run, monkeypatch):
    assert stands(run)

    def read(path):
        raise AssertionError(f"{path} was read again")

    monkeypatch.setattr(standing, "sha256", read)
    assert stands(run)
    os.utime(run / "patients.csv")
    with pytest.raises(AssertionError, match="patients"):
        stands(run)


def test_a_copied_or_touched_folder_still_stands(run):
    assert stands(run)
    for path in (run / "output").rglob("*.csv"):
        path.touch()
    assert stands(run)


def test_what_was_edited_goes_and_with_it_the_folder_that_a_job_leaves_as_a_whole(run):
    output = run / "output"
    (output / "tables/b.csv").write_text("edited\n", encoding="utf-8")
    (output / "work/cases.csv").write_text("edited\n", encoding="utf-8")
    assert sorted(standing.remove_edited(output)) == ["tables/b.csv", "work/cases.csv"]
    assert [path.name for path in output.iterdir() if path.is_file() and path.suffix] == ["results.csv"]
    assert not (output / "tables").exists()


def test_a_manifest_that_names_what_lies_elsewhere_takes_nothing_away(run):
    manifest = json.loads((run / "output" / MANIFEST).read_text(encoding="utf-8"))
    manifest["outputs"]["../patients.csv"] = "0"
    (run / "output" / MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")
    assert standing.remove_edited(run / "output") == []
    assert (run / "patients.csv").exists()


def test_where_the_clock_was_set_back_the_order_of_times_stays(run):
    output = run / "output"
    for k, name in enumerate(("work/cases.csv", "results.csv")):
        later = time.time() + 86_400 + k
        os.utime(output / name, (later, later))
    standing.take_out_of_the_future(output)
    times = [(output / name).stat().st_mtime for name in ("tables/a.csv", "work/cases.csv", "results.csv")]
    assert times == sorted(times)
    assert times[-1] <= time.time()


def test_a_release_refuses_a_run_whose_table_between_was_edited(run):
    (run / "study.yaml").unlink()
    write_study(run)
    manifest = json.loads((run / "output" / MANIFEST).read_text(encoding="utf-8"))
    manifest["inputs"] = input_hashes(read_plan(run))
    (run / "output" / MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")
    assert stands(run)
    (run / "output/work/cases.csv").write_text("edited\n", encoding="utf-8")
    with pytest.raises(StudyError, match="has changed since its last finished run"):
        release(read_plan(run))
