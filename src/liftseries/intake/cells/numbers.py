"""Numbers as cells hold them and people write them: one decimal mark, point or comma, none for thousands."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterable
from functools import lru_cache

from liftseries.intake.files.grid import BLANKS, DATES, Oddity, Refused, is_blank
from liftseries.intake.told.verdicts import Fault
from liftseries.study.schema import Column

NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
MARKED_NUMBER = re.compile(r"[+-]?[0-9][0-9.,'’\s]*")  # marks for thousands, or two decimal marks
ONE_MARK_THREE_DIGITS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
WRITTEN_DATE = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}|[0-9]{1,2}([./-])[0-9]{1,2}\1(?:[0-9]{4}|[0-9]{2})?")
# `05. Apr`, `5-Apr`, `Apr 5`, as spreadsheets show 5.4 that they took for a day.
_MONTHS = "jan feb f[ée]v mar mär mrz apr avr may mai mag jun jui giu jul lug aug ao[uû] ago sep set o[ck]t ott nov "
_MONTHS += "d[eé][cz] dic"
_MONTH = rf"(?:{'|'.join(_MONTHS.split())})[a-zéû]{{0,6}}\.?"
DAY_AND_MONTH = re.compile(rf"(?i:[0-9]{{1,2}}[. /-]{{1,2}}{_MONTH}|{_MONTH}[ /-][0-9]{{1,2}}\.?)")
# Hyphens and dashes that word processors make of a minus; digits and marks of full width.
PLAIN_SIGNS = {ord(sign): "-" for sign in "−‐‑–－"} | {ord("＋"): "+", ord("．"): ".", ord("，"): ","}
PLAIN_SIGNS |= {ord("０") + digit: str(digit) for digit in range(10)}


def in_plain_signs(text: str) -> str:
    return text.strip(BLANKS).translate(PLAIN_SIGNS)


def number_in(cell: object) -> float | None:
    """The number that a cell holds or spells, with decimal point or comma; None for anything else."""
    if isinstance(cell, bool) or not isinstance(cell, str | int | float):
        return None
    if not isinstance(cell, str):
        # A whole number of a workbook may have more digits than floating point goes.
        return float(cell) if abs(cell) <= sys.float_info.max else math.inf
    text = in_plain_signs(cell)
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else None


def is_day_and_month(cell: str) -> bool:
    """Whether a text is a day and a month without a year."""
    return DAY_AND_MONTH.fullmatch(cell.strip(BLANKS)) is not None


@lru_cache(maxsize=4096, typed=True)  # a fault is often the same word in a thousand cells
def value_class(cell: object) -> str:
    """What stands in a cell: empty, text, number, integer, date, boolean, or what an `Oddity` is called."""
    if isinstance(cell, Oddity):
        return cell.value
    if isinstance(cell, Refused):
        return cell.kind
    if isinstance(cell, bool):
        return "boolean"
    if isinstance(cell, DATES):
        return "date"
    if is_blank(cell) or cell != cell:
        return "empty"
    number = number_in(cell)
    if number is None:
        return "text"
    return "integer" if math.isfinite(number) and number.is_integer() else "number"


UNCLEAR_MARK = Fault(
    "decimal_mark_is_clear",
    "a mark before three digits may be the decimal mark or one for thousands. "
    "Enter it without the mark if that is for thousands, with one more zero at its end if it is the decimal mark.",
)


def unclear_thousands(cells: Iterable[object], column: Column, factor: float = 1) -> set[str]:
    """Texts of one file's column in which a mark before three digits may stand for thousands.

    `1.200` is 1.2 or 1200. It is 1.2 where all other decimals of the column have the same mark (`850.5`), and where
    1200 is out of the column's range; else nobody can tell. The same holds of `1,200`. `factor`: how many of the
    column's unit one of the cells' makes.
    """
    marked = [(cell, in_plain_signs(cell)) for cell in cells if isinstance(cell, str)]
    marked = [(cell, text) for cell, text in marked if ("," in text or "." in text) and NUMBER.fullmatch(text)]
    unclear = [(cell, text) for cell, text in marked if ONE_MARK_THREE_DIGITS.fullmatch(text)]
    if not unclear or column.levels:
        return set()
    decimal = {"," if "," in text else "." for _, text in marked if not ONE_MARK_THREE_DIGITS.fullmatch(text)}
    return {
        cell
        for cell, text in unclear
        if decimal != {"," if "," in text else "."} and _in_range(factor * float(re.sub("[.,]", "", text)), column)
    }


def _in_range(number: float, column: Column) -> bool:
    lowest = column.at_least if column.above is None else column.above
    return (lowest is None or number >= lowest) and (column.at_most is None or number <= column.at_most)
