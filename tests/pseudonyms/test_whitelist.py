"""Whatever is put in a column, what is written of it is in the column's whitelist: a property a type of column."""

from __future__ import annotations

import datetime
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheets import sheet_of

from liftseries.intake.files.grid import Oddity
from liftseries.pseudonyms.labels import Kept, coded, units
from liftseries.pseudonyms.tables import CentreTable
from liftseries.pseudonyms.whitelist import OLDEST, allowed, range_of
from liftseries.study.reading import Reading
from liftseries.study.schema import Column, audit_schema, read_schema

KEY = bytes(range(32))
COLUMNS = {
    (table.name, name): column
    for table in (*read_schema().values(), *audit_schema().values())
    for name, column in table.columns.items()
}
OWN = {
    ("sites", "own_number"): Column("own_number", "number", "", "", at_least=0, at_most=5, own=True),
    ("sites", "own_without_range"): Column("own_without_range", "number", "", "", own=True),
    ("sites", "own_level"): Column("own_level", "category", "", "", levels=("no", "yes"), own=True),
}
EVERY = COLUMNS | OWN
NUMBERS = st.floats() | st.integers() | st.integers(0, 200) | st.floats(-5, 120) | st.decimals(-9, 99, places=4)
TEXTS = (
    st.text()
    | NUMBERS.map(str)
    | NUMBERS.map(lambda number: f"{number} mm")
    | st.sampled_from(["yes", "JA", "none", "Quill, Zeb", "1.6", "2021-03-04", "MRN 88123", "16", "1,234", "all"])
    | st.sampled_from([level for column in EVERY.values() for level in map(str, column.levels)])
)
CELLS = TEXTS | NUMBERS.map(float) | st.integers() | st.booleans() | st.none() | st.dates() | st.datetimes()
CELLS |= st.sampled_from(list(Oddity))


def of_type(*types: str) -> list[tuple[str, str]]:
    return [where for where, column in EVERY.items() if column.type in types]


def array(cells: list[object]) -> np.ndarray:
    made = np.empty(len(cells), dtype=object)
    made[:] = cells
    return made


def written(where: tuple[str, str], cells: list[object]) -> list[str]:
    made = allowed(array(cells), EVERY[where], Reading())
    assert len(made.values) == len(cells)
    for at, why in made.blanked.items():
        assert made.values[at] is None
        assert not (isinstance(cells[at], str) and len(cells[at]) > 3 and cells[at] in why.replace("level", ""))
    return [value for value in made.values if value is not None]


@given(st.sampled_from(of_type("number", "integer")), st.lists(CELLS, max_size=20))
def test_numbers_are_in_range_with_two_decimals_at_most(where, cells):
    column = EVERY[where]
    for value in written(where, cells):
        assert re.fullmatch(r"-?\d+(\.\d{1,2})?", value)
        if column.levels:
            assert float(value) in column.levels
            continue
        low, high = range_of(column)
        assert low <= float(value) <= high
        assert column.above is None or float(value) > column.above
        if column.type == "integer":
            assert float(value).is_integer()
        if column.unit == "months":
            assert re.fullmatch(r"\d+(\.\d)?", value)
        if column.name == "age_years":
            assert float(value) <= OLDEST


@given(st.sampled_from(of_type("category")), st.lists(CELLS, max_size=20))
def test_levels_are_levels(where, cells):
    assert set(written(where, cells)) <= set(map(str, EVERY[where].levels))


@given(st.sampled_from(of_type("date")), st.lists(CELLS, max_size=20))
def test_dates_are_blank(where, cells):
    assert written(where, cells) == []


@given(st.lists(CELLS, min_size=1, max_size=20))
def test_labels_are_codes(cells):
    file = CentreTable(read_schema()["sites"], sheet_of({"protocol": cells}), "sites", "", {"protocol": 0})
    values = coded(file, "protocol", "protocol", KEY, Kept(), [])
    assert all(value is None or re.fullmatch("t-[a-z2-7]{16}", value) for value in values)


@given(st.lists(CELLS, min_size=1, max_size=20))
def test_units_are_known_codes(cells):
    file = CentreTable(audit_schema()["actions"], sheet_of({"unit": cells}), "actions", "", {"unit": 0})
    assert set(units(file, "unit", {"o1": {"o-code"}, "16": {"a", "b"}}, [])) <= {None, "all", "o-code"}


def test_every_column_of_numbers_has_a_range_and_no_telephone_number_fits():
    for where in of_type("number", "integer"):
        if where != ("sites", "own_without_range") and not EVERY[where].levels:
            low, high = range_of(EVERY[where])
            assert low < high <= 50_000, where
    assert written(("steps", "speed_rpm"), ["800", "50000", 50_001, "2025550143"]) == ["800", "50000"]
    assert written(("sites", "operator_case_no"), [20_000, 20_001]) == ["20000"]
    assert written(("visits", "months"), [600, "600.1", 12.3456]) == ["600", "12.3"]
    assert written(("patients", "age_years"), [89, 90, 104, 111]) == ["89", "90", "90"]
    assert written(("sites", "own_without_range"), [1]) == []


def test_words_are_levels_only_where_the_centre_says_so():
    column = COLUMNS["sites", "perforation"]
    cells = array(["ja", "no"])
    assert allowed(cells, column, Reading()).values == [None, "no"]
    assert allowed(cells, column, Reading(levels={"perforation": {"ja": "yes"}})).values == ["yes", "no"]


@pytest.mark.parametrize(
    ("cell", "kind"),
    [
        ("Sister Monika Halloway held it", "a person's name"),
        ("12.03.2021", "a date"),
        (datetime.date(2021, 3, 12), "a date"),
        ("Marrowbone", "a text where a number is due"),
        (4321.0, "out of the range"),
        (Oddity.FORMULA, "formula"),
    ],
)
def test_what_is_blank_is_told_by_its_kind(cell, kind):
    why = allowed(array([cell]), COLUMNS["sites", "rbh_min_mm"], Reading()).blanked[0]
    assert kind in why
    assert not any(word in why for word in ("Monika", "Halloway", "Marrowbone", "12", "4321"))
