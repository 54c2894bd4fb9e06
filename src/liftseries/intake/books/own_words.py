"""A returned cell in the centre's own words: understood as its file's reading understands them there."""

from __future__ import annotations

import numpy as np

from liftseries.intake.books.workbook_cells import shown
from liftseries.intake.cells.cells import read_cell
from liftseries.intake.cells.columns import value_of
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.corrections.rows import Filed, canonical
from liftseries.intake.files.grid import Absent, Refused
from liftseries.intake.forms.cells import Counts, meanings
from liftseries.intake.forms.columns import when_missing
from liftseries.intake.forms.numbers import in_unit
from liftseries.intake.told.verdicts import Fault
from liftseries.study.forms import ColumnForm
from liftseries.study.reading import Reading

UNCLEAR = (
    "a word of its file that there means another value than in the dictionary. Type a value that both take alike, or "
    "correct it in its file."
)


def in_own_words(value: str, filed: Filed, index: int, column: str, reading: Reading) -> tuple[str, str]:
    """What a word means that `words`, `missing` or `levels` of the row's file name, and what is wrong with it.

    Parameters
    ----------
    value : as it was typed
    filed, index, column : the cell
    reading : of the row's file

    Returns
    -------
    value, problem
        The value as it stands where the file's own words are read, else the one typed. A problem where the dictionary
        would take the same word for something else.
    """
    of_column, meant = filed.table.columns[column], None
    for form in _forms(filed, index, column, reading):
        cells, counts = np.array([value], dtype=object), Counts()
        taken = meanings(cells, form, counts)
        if taken is not cells and counts.of:
            meant = (in_unit(taken, form.unit, of_column, reading, counts) if form.unit else taken)[0]
    if meant is None:
        return value, ""
    if meant is Absent.SAID:
        meant = when_missing(of_column)
        if isinstance(meant, Refused):
            return value, meant.message
    meant = shown(meant)
    plain = read_cell(value, of_column, reading)
    in_dictionary = None if isinstance(plain, Fault) or of_column.type == "text" else value_of(plain)
    if in_dictionary is not None and canonical(in_dictionary, of_column) != canonical(meant, of_column):
        return value, UNCLEAR
    return meant, ""


def _forms(filed: Filed, index: int, column: str, reading: Reading) -> list[ColumnForm]:
    """Those that give one cell of the file a meaning: of the table, of the row's group of columns, of a text."""
    table, forms = filed.table.name, reading.forms
    own = [form for name, form in forms.columns.get(table, {}).items() if name == column]
    cells = filed.cells(index)
    for group in forms.each.get(table, ()):
        if all(number_in(cells.get(name)) == number for name, number in group.numbers.items()):
            own += [form for name, form in group.columns.items() if name == column]
    if filed.table.columns[column].type == "text" and column in reading.levels:
        own.append(ColumnForm((), words=reading.levels[column]))
    return [form for form in own if not form.part and form.join is None]
