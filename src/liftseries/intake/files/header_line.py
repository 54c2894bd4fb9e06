"""Which row of a file is its header, and which rows below it are no data but more header."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from liftseries.intake.files.grid import BLANKS, is_blank

LOOKED_THROUGH = 20  # filled rows in which a header may stand
SIZES = {"mm", "cm", "m", "ml", "l", "cc", "cm3", "cm³", "mm3", "mm³"}
OTHER_UNITS = {
    "years",
    "year",
    "months",
    "month",
    "deg",
    "degrees",
    "°",
    "rpm",
    "1/min",
    "ncm",
    "n cm",
    "n·cm",
    "%",
    "-",
}
KINDS = {"text", "number", "numeric", "integer", "category", "yes/no", "id", "code", "unit", "units"}
UNITS = SIZES | OTHER_UNITS | KINDS

REPEATED, UNITS_ROW, NAMES = "the header once more", "a row of units", "a second row of column names"


def name_in(cell: object) -> str:
    """A header cell as it is compared: blanks around it and its letter case do not matter."""
    return "" if is_blank(cell) else str(cell).strip(BLANKS).lower()


def header_at(rows: Sequence[Sequence[object]], names: Collection[str]) -> int:
    """The position of the header among a file's filled rows.

    The first row, unless it holds none of the known names and a later one holds at least two.

    Parameters
    ----------
    rows : the filled rows of the file, from its top
    names : the column names that the table may have
    """
    known = [len({name_in(cell) for cell in row} & set(names)) for row in rows[:LOOKED_THROUGH]]
    if not known or known[0] or max(known) < 2:
        return 0
    return known.index(max(known))


def more_header(header: Sequence[object], rows: Sequence[Sequence[object]], names: Collection[str]) -> dict[int, str]:
    """Rows below the header that are no data: what each of them is, by position.

    Parameters
    ----------
    header : the header cells
    rows : the filled rows below it
    names : the column names that the table may have
    """
    here, known = [name_in(cell) for cell in header], set(names)
    enough = max(1, min(2, sum(map(bool, here))))
    found = {}
    for at, cells in enumerate(rows):
        if at and not (is_text(cells[0]) and name_in(cells[0]) == here[0]):
            continue  # most rows, soon told
        texts = [name_in(cell) if is_text(cell) else "" for cell in cells]
        n_filled = sum(not is_blank(cell) for cell in cells)
        n_same = sum(bool(text) and text == name for text, name in zip(texts, here, strict=False))
        if n_same >= enough and 2 * n_same > n_filled:
            found[at] = REPEATED
        elif at == 0 and n_filled >= 2 and 2 * sum(text in known for text in texts) > n_filled:
            found[at] = NAMES
        elif at == 0 and n_filled >= 2 and _are_units(cells):
            found[at] = UNITS_ROW
    return found


def is_text(cell: object) -> bool:
    return isinstance(cell, str)


def _are_units(cells: Sequence[object]) -> bool:
    """Filled with nothing but units or kinds of columns; no row of a table holds these alone."""
    filled = [cell for cell in cells if not is_blank(cell)]
    if not all(map(is_text, filled)):
        return False
    words = {name_in(cell).strip("[](){}").strip(BLANKS) for cell in filled}
    return words <= UNITS and words != {"-"}
