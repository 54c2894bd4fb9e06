"""Every seeded fault is decided or refused by the rule that is meant for it; a plain reading tells of none."""

from __future__ import annotations

import openpyxl
import pytest
from messy import LAYOUT, TYPED, WHOLE, fates, fates_of_whole, told_by_pandas, write_messy
from studies import write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

DECIDED = {
    "a tooth as 16.0 in a text": "number_is_read_from_text",
    "a tooth with non-breaking blanks around it": "number_is_read_from_text",
    "a tooth with a dot": "tooth_is_quadrant_and_position",
    "a decimal comma as text": "number_is_read_from_text",
    "a unit in the cell": "unit_is_the_columns",
    "centimetres typed for millimetres": "tenfold_length_is_told",
    "an id merged down its rows": "merged_cell_holds_for_its_rows",
    "a hidden sheet": "hidden_sheet_is_named",
    "a title above the header": "header_is_the_row_of_column_names",
    "the header a second time": "row_of_the_header_is_no_data",
    "a row of units below the header": "row_of_the_header_is_no_data",
}
REFUSED = {
    "a tooth that became a date": "tooth_is_no_date",
    "a deciduous tooth": "tooth_is_permanent",
    "a Universal number among FDI ones": "value_is_a_level",
    "another unit in the cell": "unit_is_the_columns",
    "centimetres that are out of range": "value_is_in_range",
    "a mark for thousands, or a decimal mark": "decimal_mark_is_clear",
    "a dash for missing": "missing_word_is_confirmed",
    "a question mark for missing": "missing_word_is_confirmed",
    "n/a": "missing_word_is_confirmed",
    "a level in other words": "value_is_a_level",
    "a number for a level": "value_is_a_level",
    "an id that stands twice": "key_is_unique",
    "a site without patient": "reference_is_known",
    "a formula without a stored value": "formula_has_a_value",
    "an error cell": "value_is_a_whole_number",
    "a date in the place of a number": "value_is_a_whole_number",
    "a text that begins like a formula": "text_is_no_formula",
    "cells merged across columns": "cell_is_not_merged",
    "a hidden row": "row_is_shown",
    "a hidden column": "column_is_shown",
    "a percentage": "number_is_what_it_shows",
    "a column in Universal numbers": "tooth_numbering_is_confirmed",
    "a header that stands twice": "column_stands_once",
    "column names in two rows": "header_is_one_row",
    "an active filter": "row_is_shown",
}
FATES = {kind: ("decided", rule) for kind, rule in DECIDED.items()}
FATES |= {kind: ("refused", rule) for kind, rule in REFUSED.items()}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_messy(tmp_path_factory.mktemp("messy"))


@pytest.fixture(scope="module")
def found(folder, tmp_path_factory):
    return fates(folder) | fates_of_whole(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("kind", [*TYPED, *LAYOUT, *WHOLE])
def test_fate_of_every_fault(found, kind):
    assert found[kind][0] == FATES[kind]


def test_non_breaking_blanks_in_a_header_are_no_fault(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["sites"]["F1"] = "\u00a0Tooth\u00a0"
    book.save(folder / "study.xlsx")
    intake, problems = check_study(read_plan(folder))
    assert problems == []
    assert intake.tables["sites"]["tooth"].tolist() == [16, 26, 17, 15]


def test_plain_reading_tells_of_none(folder):
    assert told_by_pandas(folder) == 0
