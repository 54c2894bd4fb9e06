"""The identifier screen: which cells and headers point to a person, by kind. The text itself is never told."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS, is_blank
from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.patterns import GIVEN_ANYWHERE
from liftseries.intake.identifiers.search import kind_of_header, kinds_of
from liftseries.study.schema import Table

KEYS = ("patient_id", "site_id", "operator")
LONG_NUMBER = 10**8  # nine digits: no measurement, year or count of a case series has so many


def screen_column(cells: np.ndarray, role: Role, dates: bool = True) -> dict[Kind, np.ndarray]:
    """The rows of a column, counted from 0, that hold each kind of identifier.

    Parameters
    ----------
    cells : shape (n_rows,), raw cells
    role
        What the column is for.
    dates
        Whether a cell that a workbook or Parquet keeps as a date is told too; not in a column that the schema knows,
        for there it is a number or key spoilt by a spreadsheet, and refused as such.
    """
    distinct = pd.unique(cells)
    if role is Role.NUMBER:
        kinds = {cell: Kind.OTHER for cell in distinct if _is_long_number(cell)}
        texts = {cell: cell.strip(BLANKS) for cell in distinct if isinstance(cell, str) and number_in(cell) is None}
    else:
        kinds = {cell: Kind.DATE for cell in distinct if dates and isinstance(cell, datetime.date)}
        texts = {cell: text for cell in distinct if (text := as_text(cell))}
    found = kinds_of(list(dict.fromkeys(texts.values())), role)
    kinds |= {cell: found[text] for cell, text in texts.items() if text in found}
    if not kinds:
        return {}
    kind_of_row = [kinds.get(cell) for cell in cells]
    return {
        kind: np.array([row for row, of_row in enumerate(kind_of_row) if of_row is kind], dtype=int)
        for kind in dict.fromkeys(kinds.values())
    }


def screen_refused(cells: np.ndarray, is_category: bool) -> dict[Kind, np.ndarray]:
    """The rows of texts that are refused as numbers or levels and hold each kind of identifier.

    No words are due there, so all that would be one in a key or a label is, and so is a given name among other words.
    A date where a number is due is none: spreadsheets make it of the number.

    Parameters
    ----------
    cells : shape (n_rows,), the raw cells; those that are not refused None
    is_category
        Whether levels are due, of which no spreadsheet makes a date.
    """
    texts = [cell.strip(BLANKS) if isinstance(cell, str) and number_in(cell) is None else "" for cell in cells]
    distinct = [text for text in dict.fromkeys(texts) if text]
    found = kinds_of(distinct, Role.LABEL) | kinds_of(distinct, Role.KEY)
    found |= {text: Kind.NAME for text in distinct if text not in found and _names_somebody(text)}
    if not is_category:
        found = {text: kind for text, kind in found.items() if kind is not Kind.DATE}
    of_rows = [found.get(text) for text in texts]
    return {
        kind: np.array([row for row, of_row in enumerate(of_rows) if of_row is kind], dtype=int)
        for kind in dict.fromkeys(found.values())
    }


def _names_somebody(text: str) -> bool:
    return any(text[found.start()].isupper() for found in GIVEN_ANYWHERE.finditer(text))


def role_of(table: Table, column: str) -> Role:
    """What a column is for; one that the schema does not know may hold any words."""
    if column in KEYS or column in table.people:
        return Role.KEY
    known = table.columns.get(column)
    return Role.LABEL if known is None or known.type == "text" else Role.NUMBER


def as_text(cell: object) -> str:
    """A text or whole number as the text that the screen looks at, empty for anything else."""
    if isinstance(cell, str):
        return cell.strip(BLANKS)
    if isinstance(cell, bool) or not isinstance(cell, int | float):
        return ""
    return str(cell) if isinstance(cell, int) else plain(cell) if cell.is_integer() else ""


def _is_long_number(cell: object) -> bool:
    number = number_in(cell)
    return number is not None and LONG_NUMBER <= abs(number) < math.inf


def kind_of_header_cell(cell: object, table: Table, name: str) -> Kind | None:
    """By its name where the contract has no such column, and by what stands in it as in any other cell."""
    known = table.columns.get(name)
    if is_blank(cell) or (known is not None and not known.own):
        return None
    if isinstance(cell, datetime.date):
        return Kind.DATE
    text = as_text(cell)
    return kind_of_header(text) or next(iter(kinds_of([text], Role.LABEL).values()), None)
