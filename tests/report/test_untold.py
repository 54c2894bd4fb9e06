"""Rows and columns of a released table that tell nothing go, and a sentence counts them."""

from __future__ import annotations

from liftseries.report.kit.tables.cells import Content
from liftseries.report.kit.tables.making import without_untold


def content(*rows: tuple[str, ...], note: str = "") -> Content:
    return Content(("", "Share", "Torn / sites"), tuple(rows), note, tuple(f"row {k}" for k in range(len(rows))))


def test_a_column_of_numbers_withheld_goes_however_they_are_written():
    told = without_untold(
        content(("All", "7%", "withheld / withheld"), ("Guided", "5%", "withheld of withheld, withheld"), note="N.")
    )
    assert told.columns == ("", "Share")
    assert told.rows == (("All", "7%"), ("Guided", "5%"))
    assert told.note == "N. Left out, as nothing of it is told: 1 column."


def test_an_empty_column_goes_and_one_told_as_few_stays():
    told = without_untold(content(("All", "", "<5 / 60"), ("Guided", "", "withheld / withheld")))
    assert told.columns == ("", "Torn / sites")
    assert told.rows == (("All", "<5 / 60"),)
    assert told.note == "Left out, as nothing of it is told: 1 row and 1 column."
    assert told.keys == ("row 0",)


def test_a_heading_goes_with_the_last_row_below_it():
    told = without_untold(
        content(("By band", "", ""), ("<4", "withheld", "–"), ("By approach", "", ""), ("Guided", "5%", "3 / 60"))
    )
    assert [row[0] for row in told.rows] == ["By approach", "Guided"]


def test_what_tells_everything_is_left_as_it_is_and_what_tells_nothing_goes():
    whole = content(("All", "7%", "4 / 60"))
    assert without_untold(whole) == whole
    assert without_untold(content(("All", "withheld", "withheld / withheld"))) is None
