"""How a table is set: which way its columns align, how wide they stand, where a cell may break.

Pages and files share it, so that a table looks alike on a screen, on paper and in a manuscript.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from liftseries.report.kit.tables.cells import Display

Alignment = Literal["left", "right", "decimal"]
FIGURE_SPACE, NO_BREAK_SPACE = "\u2007", "\u00a0"
INDENT = "   "  # before a level below its variable
MARKS = "ᵃᵇᶜᵈᵉᶠᵍʰ"  # of footnotes
SHORT = 14  # characters of a word that may stand among numbers: `not estimated`
LEADING = re.compile(r"[−<>]?\d[\d.,]*%?")
NUMBERS_ALONE = re.compile(rf"(?:[\d\s.,;%()\[\]−<>±–{MARKS}]|of|to)*")
INTEGERS = re.compile(r"[−<>]?\d*")
# What is not torn apart at the end of a line: a bracket with numbers, `46 of 634`, `4 to <6 mm`.
BRACKET = r"[(\[](?=[^()\[\]]*\d)[^()\[\]]{1,28}[)\]]"
KEPT_WHOLE = re.compile(rf"{BRACKET}|\d+ of \d+|[\d%] to [−<>]?\d[\d.]*(?: mm\b)?|\d mm\b")
# How wide characters stand, in parts of the type's size; the others are 0.63.
NARROW, MEDIUM, WIDE = set(" .,:;'|!/ijlI" + NO_BREAK_SPACE), set("()[]ftr-"), set("%mwMW<>−=±×≥≤@")
BOLD = 1.1
ROUNDING = 1.04


def unbroken(cell: str) -> str:
    """The cell without a place to break inside an interval or a count."""
    return KEPT_WHOLE.sub(lambda found: found[0].replace(" ", NO_BREAK_SPACE), cell)


def alignment(table: Display, column: int) -> Alignment:
    """Counts flush right, numbers and intervals at their decimal point, the rest flush left."""
    cells = [row[column] for row in table.rows if row[column].strip()]
    numbers = [found[0] for found in map(LEADING.match, cells) if found]
    words = [cell for cell in cells if not NUMBERS_ALONE.fullmatch(cell)]
    if column == 0 or not numbers or any(len(word) > SHORT for word in words):
        return "left"
    decimals = {len(number.rstrip("%").partition(".")[2]) for number in numbers}
    if table.is_numeric(column):
        return "right" if len(decimals) == 1 else "decimal"
    if 0 not in decimals:
        return "decimal"
    return "right" if decimals == {0} else "left"


def cells_in_line(table: Display) -> list[list[str]]:
    """The rows with the whole numbers before a point padded to one width, so that points stand in line."""
    rows = [[unbroken(cell) for cell in row] for row in table.rows]
    for column in range(len(table.columns)):
        if alignment(table, column) != "decimal":
            continue
        lengths = [len(INTEGERS.match(row[column])[0]) for row in rows]
        for row, length in zip(rows, lengths, strict=True):
            row[column] = FIGURE_SPACE * (max(lengths) - length) * bool(length) + row[column]
    return rows


def column_widths(table: Display, available: float, size: float, inset: float) -> list[float]:
    """How wide the columns stand, in the unit of the arguments.

    Parameters
    ----------
    available : for the whole table
    size : of the type
    inset : left and right of a cell, together
    """
    rows = cells_in_line(table)
    least, natural = [], []
    for column, heading in enumerate(map(unbroken, table.columns)):
        words = [BOLD * text_width(word) for word in heading.split(" ")]
        in_two_lines = max(*words, BOLD * text_width(heading) / 2)
        cells = [row[column] for row in rows]
        pieces = [text_width(piece) for cell in cells for piece in cell.strip(" ").split(" ")]
        least.append(max(*words, *pieces))
        natural.append(max(in_two_lines, least[-1], *(text_width(cell) for cell in cells)))
    room = available - inset * len(table.columns)
    shared = _shared([size * ROUNDING * width for width in least], [size * ROUNDING * width for width in natural], room)
    return [width + inset for width in shared]


def fits(table: Display, available: float, size: float, inset: float) -> bool:
    """Whether every cell stands on one line."""
    return sum(column_widths(table, 1e9, size, inset)) <= available


def _shared(least: Sequence[float], natural: Sequence[float], room: float) -> list[float]:
    """Each column its natural width where there is room; else its least width and a share of what is left."""
    if sum(natural) <= room:
        return list(natural)
    if sum(least) >= room:
        return [width * room / sum(least) for width in least]
    wanted = [more - width for width, more in zip(least, natural, strict=True)]
    spare = (room - sum(least)) / sum(wanted)
    return [width + spare * more for width, more in zip(least, wanted, strict=True)]


def text_width(text: str) -> float:
    """How wide a text stands, in parts of the type's size; close enough for columns."""
    return sum(0.32 if char in NARROW else 0.4 if char in MEDIUM else 0.9 if char in WIDE else 0.63 for char in text)
