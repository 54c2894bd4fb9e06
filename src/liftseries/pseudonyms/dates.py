"""Dates as people type them to dates, and dates to what a study may hold: years, ages, months.

Readers swap day and month row by row, so a text whose order cannot be told is refused, not guessed.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence

from liftseries.intake.files.grid import is_blank

DAYS_A_MONTH = 365.25 / 12
DECIMALS = 1  # a tenth is three days: four decimals would give the day
ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ][\d:.]+(?:Z|[+-]\d\d:?\d\d)?)?")
TYPED = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
SAY_HOW = "Say with --dates how they were typed, or write them as 2020-04-03."


def read_dates(
    cells: Sequence[object], order: str | None = None
) -> tuple[list[datetime.date | None], dict[int, str], str]:
    """The dates of a column.

    Parameters
    ----------
    cells : raw cells; a date that a workbook keeps as one is taken as it is
    order : day-first, month-first, iso (nothing else is read), or None, where only dates of one meaning are read

    Returns
    -------
    dates, one a cell
        None where the cell is empty or cannot be read.
    faults : row -> message
    of_all
        What is wrong with the column as a whole; empty where nothing is.
    """
    typed = [match for cell in cells if isinstance(cell, str) and (match := TYPED.fullmatch(cell.strip()))]
    of_all = ""
    if any(int(match[1]) > 12 for match in typed) and any(int(match[3]) > 12 for match in typed):
        of_all = "some dates have the day first and some the month. Enter them again from the record, as 2020-04-03."
    elif typed and any(isinstance(cell, datetime.date) for cell in cells):
        of_all = (
            "dates and texts stand in one column, as when a program has read some dates and may have swapped day and "
            "month. Enter them again from the record, as 2020-04-03."
        )
    dates, faults = [], {}
    for row, cell in enumerate(cells):
        date, fault = _read(cell, order)
        dates.append(date)
        if fault:
            faults[row] = fault
    return dates, faults, of_all


def months_between(placed: datetime.date, seen: datetime.date) -> float:
    """Days over 365.25/12, to a tenth."""
    return round((seen - placed).days / DAYS_A_MONTH, DECIMALS)


def completed_years(born: datetime.date, on: datetime.date) -> int:
    """Age in whole years; who was born on 29 February grows older on 1 March (common practice, no source)."""
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def _read(cell: object, order: str | None) -> tuple[datetime.date | None, str]:
    if isinstance(cell, datetime.datetime):
        return cell.date(), ""
    if isinstance(cell, datetime.date) or is_blank(cell):
        return (None if is_blank(cell) else cell), ""
    text = cell.strip() if isinstance(cell, str) else ""
    if match := ISO.fullmatch(text):
        return _day(*match.groups())
    match = TYPED.fullmatch(text)
    if match is None or order == "iso":
        return None, "no date that can be read. Write it as 2020-04-03, with four digits for the year."
    first, _, second, year = match.groups()
    can_be = {"day-first": int(second) <= 12, "month-first": int(first) <= 12}
    if order is None and all(can_be.values()) and int(first) != int(second):
        return None, f"day and month cannot be told apart. {SAY_HOW}"
    order = order or next(order for order, can in [*can_be.items(), ("day-first", True)] if can)
    return _day(year, second, first) if order == "day-first" else _day(year, first, second)


def _day(year: str, month: str, day: str) -> tuple[datetime.date | None, str]:
    try:
        return datetime.date(int(year), int(month), int(day)), ""
    except ValueError:
        return None, "no day of the calendar. Correct it; was --dates the right order?"
