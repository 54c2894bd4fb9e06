"""Teeth as FDI numbers, in the spellings that people and spreadsheets give them, and Universal numbers.

The table beside FDI is written out in full, from ISO 3950 (quadrant and position) and the Universal system's count
from the upper right third molar to the upper left one (common practice), both from memory.
"""

from __future__ import annotations

import datetime

import pandas as pd
import pytest
from studies import cells, tables, write_study

from liftseries.intake.cells.cells import read_cell
from liftseries.intake.cells.columns import read_column, value_of
from liftseries.intake.study import check_study, read_study
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.plan import read_plan
from liftseries.study.reading import Reading
from liftseries.study.schema import read_schema

TOOTH = read_schema()["sites"].columns["tooth"]
UNIVERSAL = Reading(tooth_numbering="universal")
# Upper arch: position in the quadrant -> (FDI right, Universal right), (FDI left, Universal left).
UPPER_ARCH = {8: ((18, 1), (28, 16)), 7: ((17, 2), (27, 15)), 6: ((16, 3), (26, 14)),
              5: ((15, 4), (25, 13)), 4: ((14, 5), (24, 12))}  # fmt: skip
PAIRS = [pair for sides in UPPER_ARCH.values() for pair in sides]


def teeth(*values: object):
    """A change of the four sites' teeth."""
    return {"sites": lambda sites: sites.assign(tooth=[str(value) for value in values])}


@pytest.mark.parametrize("tooth", [fdi for fdi, _ in PAIRS])
def test_every_spelling_of_a_tooth(tooth):
    quadrant, position = divmod(tooth, 10)
    for cell_ in (tooth, float(tooth), str(tooth), f" {tooth}\u00a0", f"{tooth}.0", f"{tooth},0"):
        assert read_cell(cell_, TOOTH) == tooth
    for cell_ in (
        quadrant + position / 10,
        f"{quadrant}.{position}",
        f"{quadrant},{position}",
        f"{quadrant} {position}",
    ):
        taken = read_cell(cell_, TOOTH)
        assert isinstance(taken, Taken)
        assert (taken.value, taken.rule) == (tooth, "tooth_is_quadrant_and_position")


@pytest.mark.parametrize("cell_", [1.3, "1.9", 3.6, "4.5", "1.65", "1-6", "16 17", "#3"])
def test_marks_between_other_numbers_are_refused(cell_):
    assert isinstance(read_cell(cell_, TOOTH), Fault)


@pytest.mark.parametrize("tooth", [fdi for fdi, _ in PAIRS])
def test_date_that_a_spreadsheet_made_of_a_tooth_is_refused_with_the_tooth(tooth):
    """1.6 becomes 1 June where the day comes first, 6 January where the month does."""
    quadrant, position = divmod(tooth, 10)
    for date in (datetime.date(2024, position, quadrant), datetime.datetime(2024, quadrant, position)):
        for cell_ in (date, f"{date:%Y-%m-%d}", f"{date:%d.%m.%Y}"):
            fault = read_cell(cell_, TOOTH)
            assert fault.rule == "tooth_is_no_date"
            assert f"Enter {tooth} if" in fault.message


def test_date_that_was_no_tooth_is_refused_without_a_proposal():
    for date in (datetime.date(2024, 11, 23), datetime.date(2024, 3, 3), datetime.time(1, 6)):
        fault = read_cell(date, TOOTH)
        assert isinstance(fault, Fault)
        assert not any(str(fdi) in fault.message for fdi, _ in PAIRS)


@pytest.mark.parametrize("cell_", [51, "55", 65.0, 71, 85, "A", "j", " T "])
def test_deciduous_teeth_have_words_of_their_own(cell_):
    for reading in (Reading(), UNIVERSAL):
        fault = read_cell(cell_, TOOTH, reading)
        assert fault.rule == "tooth_is_permanent"
        assert '"' not in fault.message


@pytest.mark.parametrize(("fdi", "universal"), PAIRS)
def test_confirmed_universal_numbers_are_translated(fdi, universal):
    taken = read_cell(str(universal), TOOTH, UNIVERSAL)
    assert (taken.value, taken.rule) == (fdi, "tooth_is_universal")


@pytest.mark.parametrize("cell_", [0, 6, 11, 17, 24, 28, 32, 33, 1.6, "1.6"])
def test_what_universal_numbers_of_upper_back_teeth_cannot_be_is_refused_once_confirmed(cell_):
    assert isinstance(read_cell(cell_, TOOTH, UNIVERSAL), Fault)


def test_column_that_only_universal_numbers_explain_is_refused_once_a_file(tmp_path):
    folder = write_study(tmp_path, teeth(3, 14, 13, 5))
    (problem,) = check_study(read_plan(folder))[1]
    told = str(problem)
    assert told.startswith("sites.csv, row 1, column 6 (F), tooth: ")
    assert "3, 5, 13 (3 of 4 cells)" in told
    assert "`reading: {tooth_numbering: universal}`" in told


def test_unconfirmed_universal_numbers_stop_a_run_that_sets_rows_aside(tmp_path):
    """Every row may be wrong, the ones that are valid FDI numbers too."""
    folder = write_study(tmp_path, teeth(3, 14, 14, 15), plan="invalid_rows: set_aside")
    with pytest.raises(Exception, match="tooth_numbering: universal"):
        read_study(read_plan(folder))


def test_confirmed_universal_numbers_come_in_as_fdi_with_a_decision_each(tmp_path):
    folder = write_study(tmp_path, teeth(3, 14, 2, 4), plan="reading: {tooth_numbering: universal}")
    intake = read_study(read_plan(folder))
    assert intake.tables["sites"]["tooth"].tolist() == [16, 26, 17, 15]
    assert intake.decisions["rule"].tolist() == ["tooth_is_universal"] * 4
    assert intake.decisions["place"].tolist()[0] == "sites.csv, row 2, tooth"


def test_numbers_of_both_systems_are_refused_cell_by_cell(tmp_path):
    """16 says nothing; 26 is FDI only, 13 and 2 Universal only."""
    folder = write_study(tmp_path, teeth(16, 26, 13, 2))
    found = check_study(read_plan(folder))[0].findings
    assert found[["place", "rule"]].to_numpy().tolist() == [
        ["sites.csv, row 4, tooth", "value_is_a_level"],
        ["sites.csv, row 5, tooth", "value_is_a_level"],
    ]
    assert "it would be 25" in found["message"][0]


def test_numbers_that_both_systems_have_are_fdi():
    raw = pd.Series([14, 15, 16], dtype=object).to_numpy()
    read = read_column(raw, TOOTH)
    assert (read.values.tolist(), read.of_all, read.taken) == ([14, 15, 16], None, {})


def test_one_file_of_two_may_be_refused(tmp_path):
    """A centre's file is judged on its own."""
    sites = tables()["sites"]
    folder = write_study(tmp_path)
    sites.iloc[:2].to_csv(folder / "north.csv", index=False)
    sites.iloc[2:].assign(tooth=["3", "4"]).to_csv(folder / "south.csv", index=False)
    text = (folder / "study.yaml").read_text(encoding="utf-8")
    (folder / "study.yaml").write_text(text.replace("sites.csv", "[north.csv, south.csv]"), encoding="utf-8")
    found = check_study(read_plan(folder))[0].findings
    assert found["file"].tolist() == ["south.csv"]


def test_marked_teeth_of_a_study_come_in(tmp_path):
    folder = write_study(tmp_path, {"sites": cells((2, "tooth", "1.6"), (3, "tooth", "2,6"))})
    intake = read_study(read_plan(folder))
    assert intake.tables["sites"]["tooth"].tolist() == [16, 26, 17, 15]


def test_value_of_a_refused_tooth_is_missing():
    assert value_of(read_cell("C", TOOTH)) is None
