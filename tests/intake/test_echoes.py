"""One fault is told once: what follows from it in other rows and tables is held back, but goes under `set_aside`."""

from __future__ import annotations

import pytest
from studies import added, cell, cells, write_study

from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan


def found(folder) -> list[tuple[str, str]]:
    findings = check_study(read_plan(folder))[0].findings
    return list(findings[["place", "rule"]].itertuples(index=False, name=None))


def gone(folder) -> dict[str, set[int]]:
    set_aside = read_study(read_plan(folder)).set_aside
    return {table: set(rows["row"]) for table, rows in set_aside.groupby("table")}


def dropped(row: int):
    return lambda table: table.drop(index=row - 2).reset_index(drop=True)


@pytest.mark.parametrize(
    ("changes", "only"),
    [
        # a key that can't be read may be the one that its sites, passes and visits miss
        ({"patients": cell(3, "patient_id", "")}, ("patients.csv, row 3, patient_id", "value_is_given")),
        ({"sites": cell(2, "site_id", "")}, ("sites.csv, row 2, site_id", "value_is_given")),
        (
            {"instruments": cell(2, "instrument_id", "")},
            ("instruments.csv, row 2, instrument_id", "value_is_given"),
        ),
        # the row that the log lacks stands there, under a mistyped site
        ({"steps": cell(3, "site_id", "s11")}, ("steps.csv, row 3, site_id", "reference_is_known")),
        ({"steps": cell(2, "site_id", "")}, ("steps.csv, row 2, site_id", "value_is_given")),
        # a step number that can't be read leaves no gap
        ({"steps": cell(3, "step_no", "two")}, ("steps.csv, row 3, step_no", "value_is_a_whole_number")),
        # an approach at odds with the guide's offset says nothing on the site's drills
        (
            {"sites": cell(2, "approach", "freehand")},
            ("sites.csv, row 2, guide_offset_mm", "value_is_absent_where_not_allowed"),
        ),
        # an instrument that is not known has neither approach nor length
        (
            {"steps": cell(2, "instrument_id", "hand")},
            ("steps.csv, row 2, instrument_id", "reference_is_known"),
        ),
        # a stop that is at odds with itself swallows nothing
        (
            {"stops": cells((4, "marking_mm", "60"), (2, "stop_id", "off-8"))},
            ("stops.csv, row 4, marking_mm", "marked_depth_is_within_the_instrument"),
        ),
        # a lowest height out of range is not compared with the highest
        ({"sites": cell(2, "rbh_min_mm", "25")}, ("sites.csv, row 2, rbh_min_mm", "value_is_in_range")),
        # after a wrong death every later visit looks wrong: one is told
        (
            {"visits": cells((2, "status", "patient_died"), (2, "complication", ""))},
            ("visits.csv, row 3, status", "no_life_after_death"),
        ),
    ],
)
def test_echo_is_held_back(tmp_path, changes, only):
    assert found(write_study(tmp_path, changes)) == [only]


def test_table_that_cannot_be_read_brings_no_dangling_references(tmp_path):
    folder = write_study(tmp_path)
    (folder / "sites.csv").write_bytes(b"site_id;patient_id\xff")
    assert [rule for _, rule in found(folder)] == ["file_is_readable"]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        # held back, yet the sites of a patient whose key is unknown can't stay
        (
            {"patients": cell(3, "patient_id", "")},
            {"patients": {3}, "sites": {3, 4}, "steps": {5, 6, 7, 8}, "visits": {5, 6, 7, 8}},
        ),
        # the mistyped pass was most likely the second of s1, whose log now has a hole
        ({"steps": cell(3, "site_id", "s11")}, {"steps": {2, 3, 4}}),
        # ... or the last: no number is missing, but the log above is short
        ({"steps": cell(4, "site_id", "s11")}, {"steps": {2, 3, 4}}),
        # a failure under a mistyped site must not vanish from the site's follow-up
        ({"visits": cell(4, "site_id", "s11")}, {"visits": {2, 3, 4}}),
        # a whole site that is not there takes no neighbour along
        ({"sites": dropped(3)}, {"steps": {5, 6}, "visits": {5, 6}}),
        # two deaths: which is right can't be told, so both sites lose their follow-up
        (
            {
                "sites": cell(4, "placement", "same_day"),
                "visits": added({"site_id": "s3", "months": "26", "status": "patient_died"}),
            },
            {"visits": {5, 6, 7, 8, 9}},
        ),
    ],
)
def test_what_was_held_back_goes_all_the_same(tmp_path, changes, expected):
    assert gone(write_study(tmp_path, changes, plan="invalid_rows: set_aside")) == expected
