"""The bundle as files: what lies in it, what does not, and what its door says."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from packed import everything_in, named_in
from release_series import KINDS, SMALLEST_CELL, made_of
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.cli import main
from liftseries.release import bundle
from liftseries.study.plan import read_plan


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Callable[[str], Path]:
    """Call with a kind of series: its bundle, written once."""
    rooms = {}

    def bundle_of(kind: str) -> Path:
        if kind not in rooms:
            made, rooms[kind] = made_of(kind), tmp_path_factory.mktemp(kind)
            bundle._write(rooms[kind], made.masked, SMALLEST_CELL, rows_leave=False)
        return rooms[kind]

    return bundle_of


@pytest.fixture
def dozen(written) -> Path:
    """The bundle of twelve patients."""
    return written("dozen")


def test_no_site_no_patient_and_no_file_of_the_study_is_named(dozen):
    made, said = made_of("dozen"), everything_in(dozen)
    names = {*made.series.cases["site_id"], *made.series.cases["patient_id"]}
    assert len(names) > 12
    assert not named_in(said, names | {"sites_of_a_person", "p.csv", "s.csv", "l.csv", "v.csv"})


def test_the_bundle_holds_no_single_records(dozen):
    files = {str(path.relative_to(dozen)) for path in dozen.rglob("*") if path.is_file()}
    assert {"report.html", "report.pdf", "results.csv", "supplement.html", "figures/flow.svg"} <= files
    left_out = bundle.figures_left_out(["publication"])
    assert {"planned_achieved", "ladder_case", "proportional_hazards", "risk_curves"} <= set(left_out)
    for name in left_out:
        assert not [file for file in files if file.startswith(f"figures/{name}.")]
    assert not [file for file in files if Path(file).stem in ("set_aside", "sites", "steps", "decisions", "inputs")]


def test_a_report_of_twelve_patients_answers_with_a_number_or_a_bound(dozen):
    page = re.sub(r"<[^>]*>", " ", (dozen / "report.html").read_text(encoding="utf-8"))
    page = re.sub(r"\s+", " ", page)
    assert re.search(r"Drilled as planned throughout: \d+ of 29 sites", page)
    assert re.search(r"modelled risk \d+\.\d% \(", page)


def test_the_report_says_what_was_withheld_and_why(dozen):
    page = (dozen / "report.html").read_text(encoding="utf-8")
    assert "What was withheld, and why" in page
    assert "A count of 1 to 4 patients" in page
    assert "The series is small" in page
    for called in ("the drilling logs of single cases", "the risk curve with the number of sites below it"):
        assert called in page


def test_no_mark_of_the_program_is_printed(dozen):
    """A withheld count is -1 within the program, and nowhere else."""
    for path in [*dozen.glob("tables/*.csv"), dozen / "results.csv"]:
        assert not re.search(r"(^|[,/ ])-1([,/ ]|$)", path.read_text(encoding="utf-8"), re.M), path.name
    words = re.sub(r"<[^>]*>", " ", (dozen / "report.html").read_text(encoding="utf-8"))
    assert not re.search(r"\bnan\b", words)


def test_results_csv_leaves_empty_what_is_withheld_and_says_so(dozen):
    whole, results = made_of("dozen").masked.whole.results, pd.read_csv(dozen / "results.csv")
    assert len(results) == len(whole)
    emptied = whole["n_sites"].notna().to_numpy() & results["n_sites"].isna().to_numpy()
    assert emptied.any()
    named = results["withheld"].fillna("").str.split().map(lambda columns: "n_sites" in columns)
    assert (named == emptied).all()


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_series_gives_a_bundle(written, kind):
    for name in ("report.html", "supplement.html"):
        page = (written(kind) / name).read_text(encoding="utf-8")
        assert len(page) > 10_000
        words = re.sub(r"<[^>]*>", "", re.sub(r"<(style|svg)\b.*?</\1>", "", page, flags=re.S))
        # What is withheld leaves no gap in a sentence.
        assert re.findall(r".*\b(?:at|of|in|by|to|from|and|with|was|were)\s+[,.;:)].*", words) == []


def test_a_study_without_a_finished_run_is_told_so(tmp_path, capsys):
    study = write_study(tmp_path / "study")
    assert main(["release", str(study)]) == 1
    assert "has no finished run. Run `liftseries run" in capsys.readouterr().err
    assert not (study / "release").exists()


def test_a_changed_study_is_told_so(tmp_path, capsys):
    study = write_study(tmp_path / "study")
    (study / "output").mkdir()
    (study / "output" / "manifest.json").write_text("{}")
    assert main(["release", str(study)]) == 1
    assert "has changed since its last finished run" in capsys.readouterr().err


def test_a_folder_of_the_studys_own_is_left_alone(tmp_path):
    study = write_study(tmp_path / "study")
    (study / "release").mkdir()
    (study / "release" / "mine.txt").write_text("kept")
    with pytest.raises(StudyError, match="no bundle of ours"):
        bundle.release(read_plan(study))
    assert (study / "release" / "mine.txt").read_text() == "kept"


def test_outputs_in_the_place_of_the_bundle_are_refused(tmp_path):
    study = write_study(tmp_path / "study", plan="output: release")
    with pytest.raises(StudyError, match="lies where the release is made"):
        bundle.release(read_plan(study))


def test_release_json_holds_no_value_and_no_hash_that_a_value_could_be_tried_on(tmp_path, monkeypatch):
    """Only the manifest's hash: it covers rows that nobody outside has."""
    study = write_study(tmp_path / "study")
    plan = read_plan(study)
    plan.output.mkdir()
    (plan.output / "manifest.json").write_text("{}")
    record = json.loads(json.dumps(bundle._record(plan, made_of("dozen").masked, rows_leave=False)))
    assert list(record["run"]) == ["manifest_sha256"]
    assert record["smallest_cell"] == plan.smallest_cell
    assert record["tables"]["results"]["counts_withheld"] > 0
