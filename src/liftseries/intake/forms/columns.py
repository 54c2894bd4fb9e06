"""The columns of one table on their way: made of those of a file, or of what study.yaml says of all rows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liftseries.base.errors import did_you_mean
from liftseries.intake.cells.cells import read_cell
from liftseries.intake.cells.units import factor_of, units_known
from liftseries.intake.files.grid import Absent, Refused, SheetFault, is_blank
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.forms.cells import (
    Counts,
    filled_empty,
    joined,
    meanings,
    prefixed,
    text_words,
    without_word,
)
from liftseries.intake.forms.numbers import in_unit, one_of, part_of, with_decimal_mark
from liftseries.intake.told.verdicts import Fault
from liftseries.study.forms import PREFIXED, ColumnForm, folded_name
from liftseries.study.reading import Reading
from liftseries.study.schema import UNKNOWN, Column, Table

TOOTH = "tooth"  # the one column whose cells may name what they are, in words beside the number


@dataclass
class Columns:
    """The columns of a table on their way, over the rows that belong to it."""

    sheet: Sheet
    table: Table
    reading: Reading
    positions: dict[str, list[int]]  # folded name -> where it stands in the file
    cells: dict[str, np.ndarray] = field(default_factory=dict)
    origins: dict[str, np.ndarray | int | None] = field(default_factory=dict)
    counts: dict[str, Counts] = field(default_factory=dict)  # by column; "" for rows
    faults: list[SheetFault] = field(default_factory=list)
    constant: list[str] = field(default_factory=list)
    said: dict[str, tuple[str, str, str]] = field(default_factory=dict)  # column without one in the file -> its count
    filled: dict[str, np.ndarray] = field(default_factory=dict)  # see `Sheet.filled`
    taken: set[str] = field(default_factory=set)  # folded names of the file's columns that a table takes, or ignored

    def counted(self, column: str) -> Counts:
        return self.counts.setdefault(column, Counts())

    def fault(self, rule: str, message: str) -> None:
        self.faults.append(SheetFault(rule, f"{self.reading.where}", message))


def position_of(made: Columns, name: str) -> int | None:
    """Where a column of the file stands; what is wrong with a name that study.yaml uses is a fault."""
    stands = made.positions.get(folded_name(name), [])
    if len(stands) == 1:
        return stands[0]
    if stands:
        made.fault("column_stands_once", f'"{name}" heads {len(stands)} columns of {made.sheet.shown}. Rename one.')
    elif folded_name(name) not in made.reading.forms.common:
        headers = [str(cell) for cell in made.sheet.header if not is_blank(cell)]
        hint = did_you_mean(name, headers) if len(headers) < 500 else ""
        hint = " One of its columns has nearly that name; it may have been renamed." if hint else ""
        message = f'names the column "{name}" for {made.table.name}, and {made.sheet.shown} has none of that name.'
        made.fault("named_column_is_there", f"{message}{hint} Correct the name.")
    return None


def make_column(made: Columns, name: str) -> None:
    """One column from where it comes: as named, as it stands, the same in every row, or recorded by nobody."""
    forms, table, column = made.reading.forms, made.table, made.table.columns[name]
    form = forms.columns.get(table.name, {}).get(name)
    if form is not None and not all(
        folded_name(source) in forms.common and folded_name(source) not in made.positions for source in form.sources
    ):
        if (built := built_column(made, name, form)) is not None:
            made.cells[name], made.origins[name] = built
        _own_column_is_taken(made, name)
        return
    if name in {key for group in forms.each.get(table.name, ()) for key in (*group.numbers, *group.columns)}:
        _own_column_is_taken(made, name)
        return
    stands = made.positions.get(folded_name(name), [])
    value = forms.constants.get(table.name, {}).get(name)
    is_absent = name in forms.not_collected.get(table.name, ())
    if stands and (value is not None or is_absent):
        said = "constants" if value is not None else "not_collected"
        made.fault(f"{said}_has_no_column", f"{made.sheet.shown} has the column {name}. Take it out of `{said}`.")
    if stands:
        made.cells[name] = _by_decimal_mark(made, name, made.sheet.columns[stands[0]])
        made.origins[name] = stands[0]
    elif value is not None:
        _constant(made, name, value)
    elif is_absent:
        absent = UNKNOWN if UNKNOWN in column.levels else None
        made.said[name] = "not_collected", "no column", f"missing: {absent or 'not collected'}"
        if absent:
            made.cells[name] = np.full(len(made.sheet.rows), absent, dtype=object)
            made.origins[name] = None
            made.constant.append(name)


def _own_column_is_taken(made: Columns, name: str) -> None:
    """A column of the file that bears the table's own name, while another one is named for it, must not vanish."""
    if folded_name(name) in made.positions and folded_name(name) not in made.taken:
        message = f"{made.sheet.shown} has the column {name} too, and `columns` takes another one for it."
        advice = "Name it under `ignore`, or take the entry out."
        made.fault("column_is_taken_or_ignored", f"{made.table.name}: {message} {advice}")


def _constant(made: Columns, name: str, value: object) -> None:
    verdict = read_cell(value, made.table.columns[name], made.reading)
    if isinstance(verdict, Fault):
        made.fault("constant_is_a_value", f"constants, {made.table.name}, {name}: {verdict.message}")
    made.cells[name] = np.full(len(made.sheet.rows), value, dtype=object)
    made.origins[name] = None
    made.constant.append(name)
    made.said[name] = "constant", "no column", f"{value} in every row"


def _some_are_lacking(made: Columns, name: str, form: ColumnForm, stands: list[int | None]) -> None:
    """What is said of all files may name columns that one lacks; where it has some of them, these must not vanish."""
    lacking = [source for source, at in zip(form.sources, stands, strict=True) if at is None]
    if len(lacking) < len(stands) and all(folded_name(source) in made.reading.forms.common for source in lacking):
        some = f"{made.sheet.shown} has some of the columns named for {made.table.name}, {name}"
        made.fault("named_column_is_there", f'{some}, and no "{lacking[0]}". Say under `files` how it is read.')


def built_column(made: Columns, name: str, form: ColumnForm) -> tuple[np.ndarray, int] | None:
    """A column's cells from its columns of the file, and where the first of these stands; None where one is missing."""
    stands = [position_of(made, source) for source in form.sources]
    if None in stands:
        _some_are_lacking(made, name, form, stands)
        return None
    column, counts = made.table.columns[name], made.counted(name)
    pieces = [meanings(made.sheet.columns[at], form, counts) for at in stands]
    if form.part:
        pieces = [part_of(piece, form.part, column, made.reading, counts) for piece in pieces]
    if form.join is None:
        pieces = [_by_decimal_mark(made, name, piece) for piece in pieces]
    if form.unit:
        if factor_of(column, form.unit) is None:
            known = ", ".join(dict.fromkeys(units_known(column)))
            made.fault("unit_is_known", f"{name}: `{form.unit}` is no unit that is known for it; these are: {known}.")
            return None
        pieces = [in_unit(piece, form.unit, column, made.reading, counts) for piece in pieces]
    if form.join is not None:
        # `Regio 16` is tooth 16 in a site's id as in its tooth: another sheet may well write 16 alone.
        teeth = _sources_of_teeth(made)
        pieces = [
            without_word(piece, counts) if folded_name(source) in teeth else piece
            for source, piece in zip(form.sources, pieces, strict=True)
        ]
        return joined(pieces, form.join, made.reading, counts), stands[0]
    cells = one_of(pieces, form.take, column, made.reading, counts) if form.take else pieces[0]
    return (without_word(cells, counts) if column.notation else cells), stands[0]


def _sources_of_teeth(made: Columns) -> set[str]:
    """The columns of the file, by folded names, that the reading takes for a tooth."""
    forms = [entries.get(TOOTH) for entries in made.reading.forms.columns.values()]
    return {folded_name(source) for form in forms if form is not None for source in form.sources}


def _by_decimal_mark(made: Columns, name: str, cells: np.ndarray) -> np.ndarray:
    mark = made.reading.forms.decimal
    of_numbers = made.table.columns[name].type in ("number", "integer") and not made.table.columns[name].notation
    return with_decimal_mark(cells, mark) if mark and of_numbers else cells


def confirm_words(made: Columns, name: str) -> None:
    """Words of a text column, such as centre, as `reading.levels` says."""
    if made.table.columns[name].type == "text" and name in made.reading.levels:
        made.cells[name] = text_words(made.cells[name], made.reading.levels[name], made.counted(name))


def finish_column(made: Columns, name: str) -> None:
    """What holds for a column wherever it comes from: the prefix, what an empty cell means."""
    forms, counts = made.reading.forms, made.counted(name)
    if name in PREFIXED and forms.prefix:
        made.cells[name] = prefixed(made.cells[name], forms.prefix, made.reading, counts)
    value = forms.empty_means.get(made.table.name, {}).get(name)
    if value is not None:
        made.cells[name], made.filled[name] = filled_empty(made.cells[name], value, counts)
    called_missing = np.array([cell is Absent.SAID for cell in made.cells[name]], dtype=bool)
    if called_missing.any():
        made.cells[name] = made.cells[name].copy()
        made.cells[name][called_missing] = when_missing(made.table.columns[name])


def when_missing(column: Column) -> object:
    """What a cell that `missing` names comes to: no value, and `unknown` where every row needs one."""
    if column.when_empty:
        message = (
            f"a cell that `missing` names, and an empty one here means {column.when_empty}. Say under `words` what it "
            "means, or correct the cell."
        )
        return Refused("value_is_given", message, "text")
    return UNKNOWN if column.required and UNKNOWN in column.levels else None


def check_what_is_said(made: Columns, n_rows: int) -> None:
    """Counts what is the same in all rows of the table; tells of `empty_means` for a column that is not there."""
    for name, what in made.said.items():
        made.counted(name).add(*what, n_rows)
    for name in made.reading.forms.empty_means.get(made.table.name, {}):
        if name not in made.cells and (made.table.name, name) not in made.reading.forms.common_empty_means:
            message = f"`empty_means` names {name} of {made.table.name}, and {made.sheet.shown} has no such column."
            made.fault("empty_means_a_column", f"{message} Use `constants` or `not_collected`, or correct the name.")
