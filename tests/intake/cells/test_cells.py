"""How a cell is read, for every type of column."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liftseries.base.numbers import plain
from liftseries.intake.cells.cells import AS_FDI, plain_text, read_cell
from liftseries.intake.cells.columns import read_column
from liftseries.intake.cells.numbers import number_in, value_class
from liftseries.intake.files.grid import Oddity
from liftseries.intake.told.verdicts import Fault
from liftseries.study.schema import read_schema

SITES = read_schema()["sites"].columns
NUMBER, INTEGER, TEXT = SITES["soft_tissue_mm"], SITES["operator_case_no"], SITES["protocol"]
LEVEL = SITES["septum"]

finite = st.floats(allow_nan=False, allow_infinity=False)


@given(finite, st.sampled_from([".", ","]), st.sampled_from(["", " ", "\u00a0"]))
def test_a_number_is_read_as_python_wrote_it(number, mark, blank):
    text = f"{blank}{number!r}{blank}".replace(".", mark)
    assert read_cell(text, NUMBER) == number
    assert read_cell(number, NUMBER) == number


@given(st.integers(-(2**53), 2**53))
def test_whole_numbers_in_all_their_spellings(number):
    for cell in (number, float(number), str(number), f" {number} ", f"{number}.0", f"{number},0"):
        assert read_cell(cell, INTEGER) == number


@given(st.text(max_size=12))
def test_no_text_breaks_the_reading_and_none_is_quoted(text):
    for column in (NUMBER, INTEGER, LEVEL):
        value = read_cell(text, column)
        if isinstance(value, Fault):
            marked = f"\u2063{text}\u2063"  # an invisible separator that no message of ours has
            again = read_cell(marked, column)
            assert marked not in again.message
        else:
            assert value is None or value in LEVEL.levels or math.isfinite(value)


@given(st.integers(0, 999), st.integers(0, 999), st.integers(0, 9))
def test_marks_for_thousands_are_refused(thousands, units, tenths):
    for text in (
        f"{thousands}.{units:03},{tenths}",
        f"{thousands},{units:03}.{tenths}",
        f"{thousands} {units:03}",
    ):
        fault = read_cell(text, NUMBER)
        assert fault.rule == "value_is_a_number"
        assert "none for thousands" in fault.message


@pytest.mark.parametrize("cell", ["inf", "1e", "0x10", "1_0", "٣", "5²", "5½", "about 5", "5-6", "5 teeth"])
def test_texts_that_are_no_numbers_are_refused_with_the_advice_to_leave_the_cell_empty(cell):
    fault = read_cell(cell, NUMBER)
    assert fault.rule == "value_is_a_number"
    assert "leave it empty" in fault.message


@pytest.mark.parametrize("cell", ["1e400", "9" * 400, math.inf, -math.inf])
def test_numbers_are_finite(cell):
    assert read_cell(cell, NUMBER).rule == "value_is_finite"


@pytest.mark.parametrize("cell", [16.5, "16.5", "16,5", 2.0**60])
def test_integers_are_whole(cell):
    assert read_cell(cell, INTEGER).rule == "value_is_a_whole_number"


@pytest.mark.parametrize("cell", [None, "", "  ", "\u00a0", math.nan])
def test_empty_cells(cell):
    assert read_cell(cell, NUMBER) is None
    assert read_cell(cell, SITES["placement"]) == "same_day"
    assert read_cell(cell, INTEGER).rule == "value_is_given"
    assert "unknown" in read_cell(cell, LEVEL).message


@pytest.mark.parametrize(
    ("cell", "value"),
    [("No", "no"), (" YES\u00a0", "yes"), ("unknown", "unknown")],
)
def test_levels(cell, value):
    assert read_cell(cell, LEVEL) == value


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (16, "16"),
        (16.0, "16"),
        (0.5, "0.5"),
        (" north\u00a0", "north"),
        (True, "true"),
        ("u\u0308", "ü"),
        ("007", "007"),
    ],
)
def test_texts(cell, text):
    assert read_cell(cell, TEXT) == text


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        (None, "empty"), (" ", "empty"), ("a", "text"), ("5,2", "number"), (5.2, "number"), ("16", "integer"),
        (16.0, "integer"), (True, "boolean"), (datetime.date(2020, 1, 2), "date"), (Oddity.ERROR, "error"),
        (Oddity.FORMULA, "formula"), ("1e400", "number"),
    ],
)  # fmt: skip
def test_value_class(cell, expected):
    assert value_class(cell) == expected


@pytest.mark.parametrize("column", [NUMBER, INTEGER, TEXT, LEVEL])
@pytest.mark.parametrize("cell", [datetime.datetime(2020, 1, 2), datetime.time(3), Oddity.ERROR, Oddity.FORMULA])
def test_dates_errors_and_formulas_are_no_values(cell, column):
    assert isinstance(read_cell(cell, column), Fault)


def test_a_column_tells_apart_what_python_holds_to_be_equal():
    """1 == 1.0 == True in Python."""
    raw = np.array([1, True, 1.0, "1"], dtype=object)
    read = read_column(raw, NUMBER)
    assert read.values.tolist()[::2] == [1.0, 1.0]
    assert list(read.faults) == [1]
    assert read_column(raw, TEXT).values.tolist() == ["1", "true", "1", "1"]


def test_plain_numbers():
    assert [plain(number) for number in (16.0, 5.2, -0.25, 0.1 + 0.2)] == [
        "16",
        "5.2",
        "-0.25",
        "0.30000000000000004",
    ]
    assert number_in("−1,5") == -1.5  # with a true minus sign


CODES = ["s-1", "S_02", "7", "x" * 256]
NO_CODES = ["", "-1", "_a", "a b", "a\nb", "a\n", "x" * 257, "ä1", "n/a", "NaN", "null", "3-may", "May-3"]


def test_codes_among_others_are_those_that_are_codes_alone():
    """However a column is looked at: as a whole where all seem to be codes, else cell by cell."""
    assert plain_text(CODES, TEXT, AS_FDI) == [True] * len(CODES)
    for other in NO_CODES:
        assert plain_text([other], TEXT, AS_FDI) == [False], other
        assert plain_text([*CODES, other], TEXT, AS_FDI) == [*[True] * len(CODES), False], other
    for other in (None, 7, datetime.date(2024, 5, 3)):
        assert not any(plain_text([*CODES, other], TEXT, AS_FDI))
