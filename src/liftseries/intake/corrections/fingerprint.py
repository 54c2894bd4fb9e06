"""What a row is known by: the fingerprint of its filled cells, so that a changed row is not corrected unseen."""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from collections.abc import Sequence

from liftseries.base.numbers import plain
from liftseries.intake.files.grid import BLANKS, Oddity, Refused, is_blank, letters
from liftseries.intake.files.sheet import Sheet


def as_text(cell: object) -> str:
    """A raw cell as it would stand in a CSV: the same text whether a file holds 5.2 or "5.2"."""
    if is_blank(cell) or (isinstance(cell, float) and math.isnan(cell)):
        return ""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, float):
        return plain(cell) if math.isfinite(cell) else str(cell)
    if isinstance(cell, Oddity):
        return f"#{cell.value}"
    if isinstance(cell, Refused):
        return as_text(cell.stood)
    return unicodedata.normalize("NFC", str(cell).strip(BLANKS))


def fingerprint(sheet: Sheet, cells: Sequence[object]) -> str:
    """SHA-256 of a row's filled cells under their column names; the order of the columns does not matter.

    Parameters
    ----------
    sheet
        Gives the header.
    cells : shape (n_columns,), the raw cells of one row
    """
    names = (letters(at) if is_blank(cell) else as_text(cell).lower() for at, cell in enumerate(sheet.header))
    filled = sorted((name, text) for name, cell in zip(names, cells, strict=True) if (text := as_text(cell)))
    return hashlib.sha256(json.dumps(filled, ensure_ascii=False).encode("utf-8", "surrogatepass")).hexdigest()


def raw_row(sheet: Sheet, at: int) -> list[object]:
    """The cells of a row by its position in the sheet, shape (n_columns,)."""
    return [column[at] for column in sheet.columns]
