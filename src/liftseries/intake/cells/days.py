"""Days and months of what a committee does, as 2025-06-30 or 2025-06; no table of patients has such a column."""

from __future__ import annotations

import datetime
import re

from liftseries.intake.cells.numbers import value_class
from liftseries.intake.files.grid import BLANKS
from liftseries.intake.told.verdicts import Fault, Taken

RULE = "value_is_a_day"
DAY = re.compile(r"([0-9]{4})-([0-9]{2})(?:-([0-9]{2}))?")
DAY_FIRST = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")  # dots: nobody writes the month first with them
FOUND = {"text": "a text", "integer": "a number", "number": "a number", "boolean": "true or false", "date": "a time"}


def read_day(cell: object, advice: str) -> str | Taken | Fault:
    """A day or a month as text, so that later ones sort behind; `Taken` where it stood otherwise, or a `Fault`.

    Parameters
    ----------
    cell : not blank
    advice : what to do where it is neither
    """
    if isinstance(cell, datetime.date):
        return f"{cell:%Y-%m-%d}"
    text = cell.strip(BLANKS) if isinstance(cell, str) else ""
    if written := DAY.fullmatch(text):
        year, month, day = written.groups()
        return text if _is_day(year, month, day or "1") else Fault(RULE, f"no day of the calendar. {advice}")
    if written := DAY_FIRST.fullmatch(text):
        day, month, year = written.groups()
        if not _is_day(year, month, day):
            return Fault(RULE, f"no day of the calendar. {advice}")
        meant = f"{year}-{int(month):02d}-{int(day):02d}"
        return Taken(meant, "a day written with dots, the day first", meant, "day_with_dots_is_day_first")
    return Fault(RULE, f"{FOUND.get(value_class(cell), 'something else')} where a day or a month is due. {advice}")


def _is_day(year: str, month: str, day: str) -> bool:
    try:
        return datetime.date(int(year), int(month), int(day)).year >= 1900
    except ValueError:
        return False
