"""corrections.csv over the raw cells: what it changes, in files that change, with all that refers to it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from corrected_studies import (
    assert_same,
    by_hand,
    corrected_study,
    drafts_of,
    line,
    states,
    tables_of,
    write_lines,
)
from correction_books import problems
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from studies import added, cell, tables, write_study

from liftseries.intake.corrections.lines import Correction, append_corrections, read_corrections
from liftseries.intake.study import read_study
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE

# ── what it changes ─────────────────────────────────────────────────────────────────────────────


def test_a_line_stands_over_its_cell_and_nothing_else(tmp_path):
    expected = tables_of(write_study(tmp_path / "sound", {"patients": cell(2, "centre", "south")}))
    study = corrected_study(tmp_path, line())
    assert problems(study) == []
    assert_same(tables_of(study), expected)


def test_a_study_can_be_read_without_its_corrections(tmp_path):
    study = corrected_study(tmp_path, line(), line("stops", "off-8", "", "leave out", 2, stood=""))
    assert_same(tables_of(study, corrections=False), tables_of(write_study(tmp_path / "sound")))


@pytest.mark.parametrize("saved", [{"separator": ";"}, {"ends": "\r\n"}, {"encoding": "utf-8-sig"}])
def test_the_file_may_have_been_saved_by_a_spreadsheet_program(tmp_path, saved):
    study = corrected_study(tmp_path, line(), **saved)
    new = line(value="a, b; c", number=2)
    append_corrections(read_plan(study), [Correction(**new | {"line": 2, "supersedes": 1})])
    assert problems(study) == []
    assert tables_of(study)["patients"]["centre"][0] == "a, b; c"
    assert states(study) == {1: "superseded", 2: "applied"}


def test_what_stood_in_the_file_stays_byte_for_byte(tmp_path):
    study = corrected_study(tmp_path, line(), ends="\r\n")
    before = (study / CORRECTIONS_FILE).read_bytes().rstrip()
    (study / CORRECTIONS_FILE).write_bytes(before)
    append_corrections(read_plan(study), [Correction(**line(value="west") | {"line": 2, "supersedes": 1})])
    assert (study / CORRECTIONS_FILE).read_bytes().startswith(before)
    assert len(read_corrections(read_plan(study)).lines) == 2


@pytest.mark.parametrize(("sites", "steps"), [("5,2", "1"), ("5.20", "1.0"), ("5.2", " 1 ")])
def test_numbers_compare_as_numbers_in_cells_and_keys(tmp_path, sites, steps):
    lines = [line("sites", "s1", "rbh_min_mm", "5.4"), line("steps", "s1 | 1", "speed_rpm", "650", 2)]
    changes = {"sites": cell(2, "rbh_min_mm", sites), "steps": cell(2, "step_no", steps)}
    study = corrected_study(tmp_path, *lines, changes=changes)
    found = tables_of(study)
    assert (found["sites"]["rbh_min_mm"][0], found["steps"]["speed_rpm"][0]) == (5.4, 650)


def test_a_text_that_looks_like_a_number_compares_as_it_stands(tmp_path):
    study = corrected_study(tmp_path, line(stood="01", value="south"), changes={"patients": cell(2, "centre", "1")})
    assert states(study) == {1: "not there"}


# ── files that change ───────────────────────────────────────────────────────────────────────────

LINES = [
    line("patients", "p2", "age_years", "62", 1),
    line("sites", "s3", "tooth", "16", 2),
    line("steps", "s1 | 3", "speed_rpm", "650", 3),
    line("visits", "s2 | 0.5", "bone_height_mm", "9,3", 4),
    line("patients", "p3", "patient_id", "p7", 5),
    line("visits", "s3 | 6", "", "leave out", 6, stood=""),
]


@pytest.fixture(scope="module")
def straight(tmp_path_factory):
    """The tables with the lines, both in their order."""
    return tables_of(corrected_study(tmp_path_factory.mktemp("straight"), *LINES))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), order=st.permutations(range(len(LINES))))
def test_shuffled_rows_and_lines_give_the_same_tables(tmp_path_factory, straight, seed, order):
    """Rows of every file and the lines themselves in any order."""
    folder = tmp_path_factory.mktemp("shuffled")
    shuffle = lambda table: table.sample(frac=1, random_state=np.random.default_rng(seed))  # noqa: E731
    study = corrected_study(folder / "turned", *(LINES[at] for at in order), changes=dict.fromkeys(tables(), shuffle))
    plan = read_plan(study)
    intake = read_study(plan)
    assert intake.corrections["state"].eq("applied").all()
    for name, table in straight.items():
        key = list(plan.schema[name].key)
        assert_frame_equal(
            intake.tables[name].sort_values(key, ignore_index=True), table.sort_values(key, ignore_index=True)
        )


def test_an_extended_file_keeps_its_corrections(tmp_path):
    more = added({"patient_id": "p0", "age_years": "70"}, {"patient_id": "p9", "age_years": "71"})
    study = corrected_study(tmp_path, *LINES, changes={"patients": lambda table: more(table)[::-1]})
    assert set(states(study).values()) == {"applied"}
    patients = tables_of(study)["patients"].set_index("patient_id")
    assert patients["age_years"].to_dict() == {"p1": 54, "p2": 62, "p7": 47, "p0": 70, "p9": 71}


def test_the_key_holds_no_file(tmp_path):
    """The rows of one file sent as two, the second row in the other one."""
    study = corrected_study(tmp_path, LINES[0])
    rows = (study / "patients.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (study / "patients.csv").write_text("".join(rows[:2]), encoding="utf-8")
    (study / "rest.csv").write_text(rows[0] + "".join(rows[2:]), encoding="utf-8")
    plan = (study / "study.yaml").read_text(encoding="utf-8")
    assert plan.count("patients.csv") == 1
    (study / "study.yaml").write_text(plan.replace("patients.csv", "[patients.csv, rest.csv]"), encoding="utf-8")
    assert tables_of(study)["patients"]["age_years"].tolist() == [54, 62, 47]


# ── keys and references ─────────────────────────────────────────────────────────────────────────


def test_references_go_along_with_a_corrected_key(tmp_path):
    study = corrected_study(
        tmp_path, line("patients", "p2", "patient_id", "p20"), line("sites", "s3", "site_id", "s30", 2)
    )
    assert problems(study) == []
    found = tables_of(study)
    assert found["sites"]["patient_id"].tolist() == ["p1", "p20", "p20", "p3"]
    assert found["steps"]["site_id"].tolist() == ["s1"] * 3 + ["s2"] * 2 + ["s30"] * 2
    assert found["visits"]["site_id"].tolist() == ["s1"] * 3 + ["s2"] * 2 + ["s30"] * 2
    cells = read_study(read_plan(study)).corrected
    assert cells.loc[cells["followed"], ["table", "column"]].value_counts().to_dict() == {
        ("sites", "patient_id"): 2,
        ("steps", "site_id"): 2,
        ("visits", "site_id"): 2,
    }


def test_two_keys_that_were_exchanged_are_exchanged_with_all_that_refers_to_them(tmp_path):
    swap = [line("patients", "p1", "patient_id", "p3"), line("patients", "p3", "patient_id", "p1", 2)]
    found = tables_of(corrected_study(tmp_path, *swap))
    assert found["patients"].set_index("patient_id")["age_years"].to_dict() == {"p3": 54, "p2": 61, "p1": 47}
    assert found["sites"]["patient_id"].tolist() == ["p3", "p2", "p2", "p1"]


def test_a_reference_with_a_line_of_its_own_does_not_follow(tmp_path):
    lines = [line("patients", "p2", "patient_id", "p20"), line("sites", "s3", "patient_id", "p1", 2)]
    assert tables_of(corrected_study(tmp_path, *lines))["sites"]["patient_id"].tolist() == ["p1", "p20", "p1", "p3"]


def test_references_stay_where_another_row_still_has_the_key(tmp_path):
    """Which of the two patients a site meant nobody can tell."""
    changes = {"patients": added({"patient_id": "p2", "age_years": "33"})}
    filed = tables()
    filed["patients"] = changes["patients"](filed["patients"])
    key = "row:" + by_hand("patients", sorted([a, b] for a, b in filed["patients"].iloc[3].items() if b))
    study = corrected_study(tmp_path, line(key=key, column="patient_id", value="p9", stood="p2"), changes=changes)
    assert states(study) == {1: "applied"}
    found = tables_of(study)
    assert found["patients"]["patient_id"].tolist() == ["p1", "p2", "p3", "p9"]
    assert found["sites"]["patient_id"].tolist() == ["p1", "p2", "p2", "p3"]


def test_the_key_of_a_line_is_the_one_before_corrections(tmp_path):
    lines = [line("patients", "p2", "patient_id", "p20"), line("patients", "p2", "age_years", "62", 2)]
    patients = tables_of(corrected_study(tmp_path, *lines))["patients"].set_index("patient_id")
    assert patients["age_years"].to_dict() == {"p1": 54, "p20": 62, "p3": 47}


# ── rows alike, rows without a key ──────────────────────────────────────────────────────────────


def test_one_line_corrects_all_exact_copies(tmp_path):
    study = corrected_study(
        tmp_path, line("sites", "s1", "tooth", "17"), changes={"sites": lambda table: pd.concat([table, table[:1]])}
    )
    assert states(study) == {1: "applied"}
    assert drafts_of(study)["sites"].raw["tooth"].tolist() == ["17", "26", "17", "15", "17"]


def test_leaving_out_copies_keeps_the_first(tmp_path):
    changes = {"sites": lambda table: pd.concat([table, table[:1]])}
    study = corrected_study(tmp_path, line("sites", "s1", "", "leave out copies", stood=""), changes=changes)
    assert_same(tables_of(study), tables_of(write_study(tmp_path / "sound")))
    assert read_study(read_plan(study)).set_aside["row"].tolist() == [6]


def test_rows_of_one_key_that_are_no_copies_are_ambiguous(tmp_path):
    changes = {"sites": added({"site_id": "s1", "tooth": "14"})}
    study = corrected_study(tmp_path, line("sites", "s1", "protocol", "B"), changes=changes)
    assert states(study) == {1: "ambiguous"}
    assert any("2 rows that are no copies have the key that it names" in told for told in problems(study))
    assert drafts_of(study)["sites"].raw["protocol"].tolist()[0] == "A"


def test_a_repeated_patient_cell_changes_in_all_its_rows(tmp_path):
    """As where one flat sheet names the patient in each row of a site."""
    changes = {"patients": added({"patient_id": "p1", "centre": "north", "age_years": "53"})}
    hashed = by_hand("patients", "p1", "age_years", ["53", "54"])
    one = line(column="age_years", value="55") | {"stood": "several", "stood_hash": hashed}
    study = corrected_study(tmp_path, one, changes=changes)
    assert states(study) == {1: "applied"}
    assert drafts_of(study)["patients"].raw["age_years"].tolist() == ["55", "61", "47", "55"]
    changes = {"patients": added({"patient_id": "p1", "centre": "north", "age_years": "30"})}
    assert states(corrected_study(tmp_path, one, changes=changes)) == {1: "not there"}


def keyless(*copies):
    rows = [{"site_id": "", "tooth": "14", "patient_id": "p1"} for _ in copies or (1,)]
    return {"sites": added(*rows)}


def hash_key(changes) -> str:
    filed = changes["sites"](tables()["sites"])
    return "row:" + by_hand("sites", sorted([name, text] for name, text in filed.iloc[-1].items() if text))


def test_a_row_without_a_key_is_known_by_the_keyed_hash_of_its_cells(tmp_path):
    one = line("sites", hash_key(keyless()), "site_id", "s5", stood="")
    study = corrected_study(tmp_path, one, changes=keyless())
    assert states(study) == {1: "applied"}
    assert tables_of(study)["sites"]["site_id"].tolist() == ["s1", "s2", "s3", "s4", "s5"]


def test_two_rows_without_a_key_that_look_alike_may_be_two_sites(tmp_path):
    one = line("sites", hash_key(keyless()), "site_id", "s5", stood="")
    assert states(corrected_study(tmp_path, one, changes=keyless(1, 2))) == {1: "ambiguous"}


def test_the_file_is_an_input_of_a_run(tmp_path):
    study = corrected_study(tmp_path, line())
    hashes = input_hashes(read_plan(study))
    assert CORRECTIONS_FILE in hashes
    append_corrections(read_plan(study), [Correction(**line(value="west") | {"line": 2, "supersedes": 1})])
    assert input_hashes(read_plan(study)) != hashes


def test_one_of_several_visits_that_stand_in_one_row_of_a_file_is_corrected_and_one_left_out(tmp_path):
    """A wide sheet: each row of the file is two visits."""
    wide = pd.DataFrame({"site": ["s1", "s2"], "bone 6": ["9.1", "8.5"], "bone 12": ["9.0", "8.4"]})
    groups = [
        "{months: 6, status: functioning, bone_height_mm: bone 6}",
        "{months: 12, status: functioning, bone_height_mm: bone 12}",
    ]
    study = corrected_study(tmp_path, changes={"visits": wide.assign(state="functioning", trouble="none")})
    each = ", ".join(group.replace("status: functioning", "status: state, complication: trouble") for group in groups)
    with (study / "study.yaml").open("a", encoding="utf-8") as plan:
        plan.write(f"files:\n  visits.csv: {{columns: {{visits: {{site_id: site, each: [{each}]}}}}}}\n")
    assert problems(study) == []
    row = {"bone_height_mm": "8.5", "complication": "none", "months": "6", "site_id": "s2", "status": "functioning"}
    write_lines(
        study,
        line("visits", "s1 | 12", "bone_height_mm", "9.3", stood="9.0")
        | {"stood_hash": by_hand("visits", "s1 | 12", "bone_height_mm", ["9"])},
        line("visits", "s1 | 0", "", "leave out", 2)
        | {"key": "s2 | 6", "stood_hash": by_hand("visits", "s2 | 6", "row", sorted([*pair] for pair in row.items()))},
    )
    assert states(study) == {1: "applied", 2: "applied"}
    visits = tables_of(study)["visits"]
    assert visits[["site_id", "months", "bone_height_mm"]].to_numpy().tolist() == [
        ["s1", 6, 9.1], ["s1", 12, 9.3], ["s2", 12, 8.4],
    ]  # fmt: skip
