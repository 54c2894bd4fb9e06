"""`invalid_rows: set_aside`: bad rows and what depends on them go; read = kept + set aside."""

from __future__ import annotations

import pytest
from seeded import seeded
from studies import added, cell, cells, write_study

from liftseries.base.errors import StudyError
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan

WITH_S1 = {"sites": {2}, "steps": {2, 3, 4}, "visits": {2, 3, 4}}
CONTRACT = ["table", "file", "row", "column", "value_class", "rule", "message"]


def taken_in(folder, changes):
    return read_study(read_plan(write_study(folder, changes, plan="invalid_rows: set_aside")))


def gone(intake) -> dict[str, set[int]]:
    return {table: set(rows["row"]) for table, rows in intake.set_aside.groupby("table")}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        # p1 takes s1 along, s1 its log and its visits
        ({"patients": cell(2, "age_years", "7")}, {"patients": {2}, **WITH_S1}),
        ({"sites": cell(3, "tooth", "11")}, {"sites": {3}, "steps": {5, 6}, "visits": {5, 6}}),
        # a bad pass takes its site's log, a bad visit its site's follow-up; the site stays
        ({"steps": cell(3, "finding", "perhaps")}, {"steps": {2, 3, 4}}),
        ({"visits": cell(4, "months", "soon")}, {"visits": {2, 3, 4}}),
        # the drill of s3's log
        ({"instruments": cell(4, "length_mm", "long")}, {"instruments": {4}, "steps": {7, 8}}),
        # repeated visits and passes: both go, and with them the rest of their site
        ({"visits": added({"months": "6"})}, {"visits": {7, 8, 9}}),
        ({"steps": cell(3, "step_no", "1")}, {"steps": {2, 3, 4}}),
        # across rows: a gap, life after failure and after death, another approach's drill, a stop too long
        ({"steps": cell(8, "step_no", "3")}, {"steps": {7, 8}}),
        ({"visits": cell(2, "months", "99")}, {"visits": {2, 3, 4}}),
        ({"visits": cell(5, "months", "99")}, {"visits": {5, 6}}),
        ({"steps": cell(5, "instrument_id", "hand-12")}, {"steps": {5, 6}}),
        ({"stops": cell(4, "marked_on_length_mm", "99")}, {"steps": {5, 6}}),
        # a death at s3 in another year than s2's: which one is right can't be told
        (
            {
                "visits": cells((8, "status", "patient_died"), (8, "complication", "")),
                "sites": cells((4, "surgery_year", "2009"), (4, "placement", "same_day")),
            },
            {"visits": {5, 6, 7, 8}},
        ),
        # a dangling reference goes, the table that it misses stays
        ({"sites": cell(5, "patient_id", "p4")}, {"sites": {5}}),
        # a key that can't be read takes along what may be its own
        ({"patients": cell(2, "patient_id", "")}, {"patients": {2}, **WITH_S1}),
        # the stop of one pass of s2: the log has a hole
        ({"stops": cell(4, "marking_mm", "x")}, {"stops": {4}, "steps": {5, 6}}),
        # which of two equal keys is right can't be told
        ({"patients": added({"patient_id": "p1"})}, {"patients": {2, 5}, **WITH_S1}),
    ],
)  # fmt: skip
def test_bad_rows_go_with_what_depends_on_them(tmp_path, changes, expected):
    intake = taken_in(tmp_path, changes)
    assert gone(intake) == expected
    counts = intake.counts
    assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
    assert counts["set_aside"].sum() == sum(len(rows) for rows in expected.values())
    for table, kept in counts.groupby("table")["kept"].sum().items():
        assert len(intake.tables[table]) == kept


def test_each_pass_or_visit_that_nobody_can_place_takes_along_what_it_may_belong_to(tmp_path):
    """Row 4 is the last of s1's log or the first of s2's; either might have a hole without it."""
    assert gone(taken_in(tmp_path, {"steps": cell(4, "site_id", "")}))["steps"] >= {2, 3, 4}


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_what_is_kept_of_a_study_with_every_fault_is_sound(tmp_path, ending):
    """Written again as a study of its own, the kept rows have no problem."""
    study = seeded()
    folder = write_study(tmp_path / "all", study.tables, ending=ending, plan="invalid_rows: set_aside")
    intake = read_study(read_plan(folder))
    listed = set(intake.set_aside[["table", "row", "column", "rule"]].itertuples(index=False, name=None))
    assert study.faults <= listed
    for table, read in study.tables.items():
        aside = intake.set_aside.loc[intake.set_aside["table"] == table, "row"].nunique()
        assert len(read) == len(intake.tables[table]) + aside
        assert len(intake.tables[table]) > 0
    again = write_study(tmp_path / "kept", {name: table.astype(object) for name, table in intake.tables.items()})
    assert check_study(read_plan(again))[1] == []


def test_every_row_set_aside_says_why(tmp_path):
    aside = taken_in(tmp_path, seeded().tables).set_aside
    assert aside.notna().all(axis=None)
    assert (aside[["file", "column", "value_class", "rule", "message"]] != "").all(axis=None)
    assert set(aside["value_class"]) <= {"empty", "text", "number", "integer"}
    assert not aside.duplicated(["table", "row", "column", "rule"]).any()


def test_count_that_does_not_add_up_is_our_fault(tmp_path, monkeypatch):
    """A row lost in silence must not pass."""
    from liftseries.intake import set_aside

    monkeypatch.setattr(set_aside, "_go_with_site", lambda draft, gone: gone.__setitem__(slice(None), True) or [])
    with pytest.raises(AssertionError, match="rows read"):
        taken_in(tmp_path, {})


def test_set_aside_has_the_contracts_columns_and_says_why(tmp_path):
    intake = taken_in(tmp_path, {"sites": cell(3, "tooth", "11")})
    assert list(intake.set_aside) == CONTRACT
    reasons = intake.set_aside.set_index(["table", "row"])["rule"].to_dict()
    assert reasons.pop(("sites", 3)) == "value_is_a_level"
    assert set(reasons.values()) == {"depends_on_set_aside"}
    assert intake.set_aside.loc[intake.set_aside["table"] == "steps", "message"].str.contains("sites.csv, row 3").all()


def test_value_class_tells_the_kind_and_never_the_value(tmp_path):
    changes = {"sites": cell(2, "rbh_min_mm", "Quill"), "patients": cell(4, "age_years", "")}
    aside = taken_in(tmp_path, changes).set_aside.set_index(["table", "row"])
    assert aside.loc[("sites", 2), "value_class"] == "text"
    assert aside.loc[("patients", 4), "value_class"] == "empty"
    assert "Quill" not in aside.to_csv()


def test_file_that_is_missing_stops_the_run_all_the_same(tmp_path):
    study = write_study(tmp_path, plan="invalid_rows: set_aside")
    (study / "sites.csv").unlink()
    with pytest.raises(StudyError, match=r"sites\.csv"):
        read_study(read_plan(study))


def test_nothing_left_is_no_study(tmp_path):
    with pytest.raises(StudyError):
        taken_in(tmp_path, {"patients": lambda patients: patients.assign(age_years="7")})
