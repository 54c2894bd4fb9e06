"""Files that come again sorted, or with a key that the centre has corrected itself: the corrections of a row hold."""

from __future__ import annotations

import pandas as pd
import pytest
from corrected_studies import SECRET, corrected_study, line, states, tables_of, write_lines
from correction_books import problems
from studies import tables, write_plan

from liftseries.cli import main
from liftseries.intake.books.trail import append_corrections
from liftseries.intake.corrections.corrected import stood_class, stood_hash
from liftseries.intake.corrections.lines import Correction, read_corrections
from liftseries.intake.draft.opened import opened
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import KEY_FILE, TRUST

NEW_KEY = line("sites", "s1", "site_id", "s9", 1)
SEPTUM = line("sites", "s1", "septum", "yes", 2)


def renamed(*names: str):
    """These tables with s9 for s1, as the centre has corrected it."""
    return {name: lambda table: table.assign(site_id=table["site_id"].replace("s1", "s9")) for name in names}


# ── the key, corrected by the centre too ────────────────────────────────────────────────────────


@pytest.mark.parametrize("names", [("sites",), ("sites", "visits"), ("sites", "steps", "visits")])
def test_a_key_corrected_in_the_file_too_loses_no_line_of_its_row(tmp_path, names):
    of_child = line("visits", "s1 | 12", "bone_height_mm", "8.8", 3, stood="9")
    study = corrected_study(tmp_path, NEW_KEY, SEPTUM, of_child, changes=renamed(*names))
    assert states(study) == {1: "already so", 2: "applied", 3: "applied"}
    assert problems(study) == []
    read = tables_of(study)
    assert read["sites"].set_index("site_id").loc["s9", "septum"] == "yes"
    assert read["visits"].set_index(["site_id", "months"]).loc[("s9", 12), "bone_height_mm"] == 8.8
    assert "s9" in read["steps"]["site_id"].tolist()


def test_all_that_the_centre_has_corrected_is_already_so(tmp_path):
    changes = renamed("steps", "visits")
    changes["sites"] = lambda sites: sites.assign(
        site_id=sites["site_id"].replace("s1", "s9"), septum=["yes", *sites["septum"][1:]]
    )
    assert states(corrected_study(tmp_path, NEW_KEY, SEPTUM, changes=changes)) == {1: "already so", 2: "already so"}


def test_a_cell_of_that_row_that_has_changed_since_is_told(tmp_path):
    changes = renamed("steps", "visits")
    changes["sites"] = lambda sites: sites.assign(
        site_id=sites["site_id"].replace("s1", "s9"), septum=["unknown", *sites["septum"][1:]]
    )
    study = corrected_study(tmp_path, NEW_KEY, SEPTUM, changes=changes)
    assert states(study) == {1: "already so", 2: "not there"}
    assert any("has changed since it was corrected" in problem for problem in problems(study))


def test_without_a_line_for_the_key_a_row_that_is_gone_is_not_guessed_at(tmp_path):
    study = corrected_study(tmp_path, SEPTUM, changes=renamed("sites", "steps", "visits"))
    assert states(study) == {2: "not there"}
    write_lines(study, NEW_KEY | {"value": "s8"}, SEPTUM)
    assert states(study) == {1: "not there", 2: "not there"}


def test_a_key_in_two_parts(tmp_path):
    months = line("visits", "s1 | 12", "months", "13", 1)
    status = line("visits", "s1 | 12", "complication", "vertigo", 2)
    changes = {"visits": lambda visits: visits.assign(months=visits["months"].replace("12", "13"))}
    study = corrected_study(tmp_path, months, status, changes=changes)
    assert states(study) == {1: "already so", 2: "applied"}


def test_a_row_left_out_stays_so_under_the_key_that_the_centre_gave_it(tmp_path):
    gone = line("visits", "s3 | 10", "", "leave out", 2)
    months = line("visits", "s3 | 10", "months", "11", 1)
    changes = {"visits": lambda visits: visits.assign(months=visits["months"].replace("10", "11"))}
    study = corrected_study(tmp_path, months, gone, changes=changes)
    assert states(study) == {1: "already so", 2: "applied"}
    assert 11 not in tables_of(study)["visits"]["months"].tolist()


def test_lines_of_such_a_row_taken_on_trust_are_hashed_anew(tmp_path, monkeypatch):
    study = corrected_study(
        tmp_path,
        NEW_KEY,
        SEPTUM,
        line(value="east", number=3),
        changes=renamed("sites", "steps", "visits"),
        secret=None,
    )
    command = ["corrections", str(study), "--withdraw", "5", "--person", "dm1", "--reason", "was right", "--trust"]
    assert main(command) == 0
    assert (study / KEY_FILE).exists()
    monkeypatch.delenv(TRUST, raising=False)
    assert states(study) == {1: "already so", 2: "superseded", 3: "superseded", 4: "applied", 5: "withdrawn"}
    assert problems(study) == []


# ── rows of a key that contradict each other ────────────────────────────────────────────────────


def flat_study(folder, flat: pd.DataFrame):
    folder.mkdir(exist_ok=True)
    flat.to_csv(folder / "flat.csv", index=False)
    for name in ("instruments", "stops"):
        tables()[name].to_csv(folder / f"{name}.csv", index=False)
    (folder / KEY_FILE).write_text(SECRET.hex(), encoding="ascii")
    drills = {"instruments": "instruments.csv", "stops": "stops.csv"}
    write_plan(folder, {"patients": "flat.csv", "sites": "flat.csv", **drills})
    return folder


def test_a_correction_of_rows_that_contradict_each_other_outlives_a_sorted_file(tmp_path):
    flat = tables()["sites"].merge(tables()["patients"], on="patient_id")
    flat.loc[flat["site_id"] == "s3", "smoking"] = "former"  # of the patient of s2, who smokes
    study = flat_study(tmp_path / "study", flat)
    plan = read_plan(study)
    filed = opened(plan, read_corrections(plan))["patients"].filed
    rows = filed.found("p2")
    stood = stood_class(filed, "smoking", rows), stood_hash(filed, "p2", "smoking", rows)
    append_corrections(
        plan,
        [Correction(1, "patients", "p2", "smoking", *stood, "never", "looked up", "dm1", "2025-03-04", None)],
    )
    assert states(study) == {1: "applied"}
    flat_study(study, flat.iloc[::-1])
    assert states(study) == {1: "applied"}
    assert problems(study) == []
    flat.loc[flat["site_id"] == "s3", "smoking"] = "unknown"
    flat_study(study, flat)
    assert states(study) == {1: "not there"}
