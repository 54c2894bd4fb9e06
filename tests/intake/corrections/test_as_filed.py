"""The study read without its corrections, and the corrected cells counted by table and key."""

from __future__ import annotations

import pytest
from corrected_studies import corrected_study, line
from studies import cell

from liftseries.intake.as_filed import read_as_filed
from liftseries.intake.corrections.lines import LEAVE_OUT
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan


def counts(filed) -> dict:
    cells = filed.cells.fillna("")
    return {(row.table, row.patient_id or row.site_id): row.n_cells for row in cells.itertuples()}


def test_without_corrections_nothing_is_read_a_second_time(tmp_path):
    filed = read_as_filed(read_plan(corrected_study(tmp_path)))
    assert not filed.tables
    assert filed.cells.empty


def test_the_files_stand_as_they_were_sent_and_each_cell_is_counted_under_its_key(tmp_path):
    lines = [
        line("sites", "s1", "perforation", "yes"),
        line("sites", "s1", "septum", "yes", 2),
        line("sites", "s1", "septum", "unknown", 3, supersedes="2"),
        line("patients", "p2", "centre", "east", 4),
    ]
    plan = read_plan(corrected_study(tmp_path, *lines))
    filed, now = read_as_filed(plan), read_study(plan).tables
    assert now["sites"]["perforation"][0] == "yes"
    assert filed.tables["sites"]["perforation"][0] == "no"
    assert filed.tables["sites"]["perforation"][1:].equals(now["sites"]["perforation"][1:])
    assert counts(filed) == {("patients", "p2"): 1, ("sites", "s1"): 2}  # the later of two lines for a cell holds


def test_a_row_that_is_refused_as_filed_is_not_there(tmp_path):
    """s1's height of 52 mm lies outside its range; the correction says 5.2."""
    wrong = {"sites": cell(2, "rbh_min_mm", "52")}
    fixed = line("sites", "s1", "rbh_min_mm", "5.2", stood="52")
    plan = read_plan(corrected_study(tmp_path / "b", fixed, changes=wrong))
    filed = read_as_filed(plan)
    assert "s1" in set(read_study(plan).tables["sites"]["site_id"])
    assert "s1" not in set(filed.tables["sites"]["site_id"])
    assert counts(filed) == {("sites", "s1"): 1}


def test_a_row_left_out_stands_there_as_filed(tmp_path):
    plan = read_plan(corrected_study(tmp_path, line("visits", "s1 | 0", "", LEAVE_OUT)))
    filed = read_as_filed(plan)
    assert len(filed.tables["visits"]) == len(read_study(plan).tables["visits"]) + 1
    assert counts(filed) == {}


@pytest.mark.parametrize("table", ["steps", "visits"])
def test_cells_of_a_site_s_other_tables_count_for_the_site(tmp_path, table):
    column = {"steps": "finding", "visits": "complication"}[table]
    value = {"steps": "open", "visits": "vertigo"}[table]
    key = {"steps": "s1 | 1", "visits": "s1 | 0"}[table]
    filed = read_as_filed(read_plan(corrected_study(tmp_path, line(table, key, column, value))))
    assert counts(filed) == {(table, "s1"): 1}
