"""A file's sheet as the sheet of one table: the dictionary's header, cells as the forms make them, places as filed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from liftseries.base.errors import did_you_mean
from liftseries.intake.cells.cells import read_cell
from liftseries.intake.cells.units import factor_of, units_known
from liftseries.intake.files.grid import SheetFault, is_blank
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.forms.cells import (
    Counts,
    blanks,
    filled_empty,
    in_unit,
    joined,
    meanings,
    one_of,
    part_of,
    prefixed,
    text_words,
    with_decimal_mark,
    without_word,
)
from liftseries.intake.forms.rows import key_texts, nothing_of_its_own, one_row_a_key, rows_named
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.verdicts import Fault
from liftseries.study.forms import PREFIXED, ColumnForm, folded_name
from liftseries.study.reading import Reading
from liftseries.study.schema import UNKNOWN, Table


@dataclass
class _Columns:
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

    def counted(self, column: str) -> Counts:
        return self.counts.setdefault(column, Counts())

    def fault(self, rule: str, message: str) -> None:
        self.faults.append(SheetFault(rule, f"{self.reading.where}", message))


def named_elsewhere(tables: Mapping[str, Table], reading: Reading) -> set[str]:
    """Columns of a file that one of its tables takes, by folded names."""
    forms = reading.forms
    named = {folded_name(name) for table in tables for name in forms.sources(table)}
    return named | {folded_name(name) for name in forms.ignore} | {c for t in tables.values() for c in t.columns}


def mapped(sheet: Sheet, table: Table, reading: Reading, sharing: Mapping[str, Table]) -> Sheet:
    """The sheet of one table.

    Parameters
    ----------
    sheet : the file as it stands
    table
    reading : how the file is read
    sharing : the tables that name this very file or sheet, in the contract's order; `table` among them

    Returns
    -------
    Sheet
        In the dictionary's header; columns of the file that no table takes and that are not ignored stand behind, once.
    """
    forms = reading.forms
    positions: dict[str, list[int]] = {}
    for position, cell in enumerate(sheet.header):
        if not is_blank(cell):
            positions.setdefault(folded_name(cell), []).append(position)
    made = _Columns(sheet, table, reading, positions)
    rows = _rows_of_table(made, forms.only_rows.get(table.name, {}))
    made.sheet = sheet if rows is None else sheet.without(set(sheet.rows[~rows].tolist()))
    for name in table.columns:
        _make(made, name)
    rows_of, at_row = _each(made)
    if len(sharing) > 1:
        rows_of, at_row = _one_row_each(made, rows_of, at_row)
    for name in list(made.cells):
        _finish(made, name)
    _check_what_is_said(made)
    return _as_sheet(made, rows_of, at_row, named_elsewhere(sharing, reading), next(iter(sharing)) == table.name)


# ── rows ────────────────────────────────────────────────────────────────────────────────────────────────────────


def _rows_of_table(made: _Columns, wanted: Mapping[str, tuple[str, ...]]) -> np.ndarray | None:
    """Which rows of the file are the table's; None = all."""
    found = [(made.sheet.columns[at], words) for name, words in wanted.items() if (at := _found(made, name)) is not None]
    if not found:
        return None
    chosen = rows_named([cells for cells, _ in found], [words for _, words in found], len(made.sheet.rows))
    made.counted("").add("only_rows", "a row of another table, by `only_rows`", "no row of this one", (~chosen).sum())
    if len(chosen) and not chosen.any():
        made.fault("only_rows", f"`only_rows` of {made.table.name} names words that no row has. Correct them.")
    return chosen


def _each(made: _Columns) -> tuple[np.ndarray, np.ndarray]:
    """Groups of columns to a row each: the file's row number of every row, and its position in the sheet."""
    n_rows, groups = len(made.sheet.rows), made.reading.forms.each.get(made.table.name, ())
    if not groups:
        return made.sheet.rows, np.arange(n_rows)
    pieces = []
    for group in groups:
        cells, origins = {}, {}
        for name, form in group.columns.items():
            if (built := _built(made, name, form)) is not None:
                cells[name], origins[name] = built
        filled = np.zeros(n_rows, dtype=bool)
        for column in cells.values():
            filled |= ~blanks(column)
        for name, number in group.numbers.items():
            cells[name], origins[name] = np.full(n_rows, number, dtype=object), None
        pieces.append((np.flatnonzero(filled), cells, origins))
    at_row = np.concatenate([at for at, _, _ in pieces])
    order = np.argsort(at_row, kind="stable")
    names = list(dict.fromkeys(name for _, cells, _ in pieces for name in cells))
    for name in names:
        stacked = [cells[name][at] if name in cells else np.full(len(at), None, dtype=object) for at, cells, _ in pieces]
        stands = [
            np.full(len(at), -1 if (origin := origins.get(name)) is None else origin) for at, _, origins in pieces
        ]
        made.cells[name] = np.concatenate(stacked)[order] if stacked else np.empty(0, dtype=object)
        by_row = np.concatenate(stands)[order]
        made.origins[name] = None if (by_row < 0).all() else by_row
    at_row = at_row[order]
    for name in [name for name in made.cells if name not in names]:
        made.cells[name] = made.cells[name][at_row]
    for name in {name for group in groups for name in group.numbers}:
        made.counted(name).add("nominal_number", "a group of columns", f"a row with its {name}", len(at_row))
    return made.sheet.rows[at_row], at_row


def _one_row_each(made: _Columns, rows: np.ndarray, at_row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of a file of several tables: rows with nothing of this one go, and those of a key become one."""

    def keep(chosen: np.ndarray) -> None:
        made.cells = {name: cells[chosen] for name, cells in made.cells.items()}
        made.origins = {
            name: origin[chosen] if isinstance(origin, np.ndarray) else origin for name, origin in made.origins.items()
        }

    empty = nothing_of_its_own(made.cells, made.table, made.constant, len(rows))
    if empty.any():
        what = "a row with nothing under the table's own columns"
        made.counted("").add("row_of_another_table", what, "no row of this table", empty.sum())
        keep(np.flatnonzero(~empty))
        rows, at_row = rows[~empty], at_row[~empty]
    keys = key_texts(made.cells, made.table)
    if keys is None:
        return rows, at_row
    forms = made.reading.forms.columns.get(made.table.name, {})
    repeated = {name: form.repeated for name, form in forms.items() if form.repeated}
    kept, cells, n_filled = one_row_a_key(made.cells, made.table, keys, repeated, rows)
    made.counted("").add("one_row_a_key", "a further row of the same key", "the same row", len(rows) - len(kept))
    made.counted("").add("one_row_a_key", "an empty cell or a repeated one", "that of another row", n_filled)
    keep(kept)
    made.cells = cells
    return rows[kept], at_row[kept]


# ── columns ─────────────────────────────────────────────────────────────────────────────────────────────────────


def _found(made: _Columns, name: str) -> int | None:
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


def _make(made: _Columns, name: str) -> None:
    """One column from where it comes: as named, as it stands, the same in every row, or recorded by nobody."""
    forms, table, column = made.reading.forms, made.table, made.table.columns[name]
    form = forms.columns.get(table.name, {}).get(name)
    if form is not None and not all(
        folded_name(source) in forms.common and folded_name(source) not in made.positions for source in form.sources
    ):
        if (built := _built(made, name, form)) is not None:
            made.cells[name], made.origins[name] = built
        return
    if name in {key for group in forms.each.get(table.name, ()) for key in (*group.numbers, *group.columns)}:
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
        made.counted(name).add("not_collected", "no column", f"missing: {absent or 'not collected'}", len(made.sheet.rows))
        if absent:
            made.cells[name] = np.full(len(made.sheet.rows), absent, dtype=object)
            made.origins[name] = None
            made.constant.append(name)


def _constant(made: _Columns, name: str, value: object) -> None:
    verdict = read_cell(value, made.table.columns[name], made.reading)
    if isinstance(verdict, Fault):
        made.fault("constant_is_a_value", f"constants, {made.table.name}, {name}: {verdict.message}")
    made.cells[name] = np.full(len(made.sheet.rows), value, dtype=object)
    made.origins[name] = None
    made.constant.append(name)
    made.counted(name).add("constant", "no column", f"{value} in every row", len(made.sheet.rows))


def _built(made: _Columns, name: str, form: ColumnForm) -> tuple[np.ndarray, int] | None:
    """A column's cells from its columns of the file, and where the first of these stands; None where one is missing."""
    stands = [_found(made, source) for source in form.sources]
    if None in stands:
        return None
    column, counts = made.table.columns[name], made.counted(name)
    pieces = [meanings(made.sheet.columns[at], form, counts) for at in stands]
    if form.part:
        pieces = [part_of(piece, form.part, counts) for piece in pieces]
    if form.join is None:
        pieces = [_by_decimal_mark(made, name, piece) for piece in pieces]
    if form.unit:
        if factor_of(column, form.unit) is None:
            known = ", ".join(dict.fromkeys(units_known(column)))
            made.fault("unit_is_known", f"{name}: `{form.unit}` is no unit that is known for it; these are: {known}.")
            return None
        pieces = [in_unit(piece, form.unit, column, counts) for piece in pieces]
    if form.join is not None:
        return joined(pieces, form.join, counts), stands[0]
    cells = one_of(pieces, form.take, column, counts) if form.take else pieces[0]
    return (without_word(cells, counts) if column.notation else cells), stands[0]


def _by_decimal_mark(made: _Columns, name: str, cells: np.ndarray) -> np.ndarray:
    mark = made.reading.forms.decimal
    of_numbers = made.table.columns[name].type in ("number", "integer") and not made.table.columns[name].notation
    return with_decimal_mark(cells, mark) if mark and of_numbers else cells


def _finish(made: _Columns, name: str) -> None:
    """What holds for a column wherever it comes from: words of texts, the prefix, what an empty cell means."""
    forms, column, counts = made.reading.forms, made.table.columns[name], made.counted(name)
    if column.type == "text" and name in made.reading.levels:
        made.cells[name] = text_words(made.cells[name], made.reading.levels[name], counts)
    if name in PREFIXED and forms.prefix:
        made.cells[name] = prefixed(made.cells[name], forms.prefix, made.reading, counts)
    value = forms.empty_means.get(made.table.name, {}).get(name)
    if value is not None:
        made.cells[name] = filled_empty(made.cells[name], value, counts)


def _check_what_is_said(made: _Columns) -> None:
    for name in made.reading.forms.empty_means.get(made.table.name, {}):
        if name not in made.cells:
            message = f"`empty_means` names {name} of {made.table.name}, and {made.sheet.shown} has no such column."
            made.fault("empty_means_a_column", f"{message} Use `constants` or `not_collected`, or correct the name.")


# ── the sheet ───────────────────────────────────────────────────────────────────────────────────────────────────


def _as_sheet(made: _Columns, rows: np.ndarray, at_row: np.ndarray, taken: Collection[str], is_first: bool) -> Sheet:
    sheet, names = made.sheet, list(made.cells)
    header: list[object] = list(names)
    columns, origins = list(made.cells.values()), {at: made.origins[name] for at, name in enumerate(names)}
    for position, cell in enumerate(sheet.header):
        unnamed = is_blank(cell) and not blanks(sheet.columns[position]).all()
        if is_first and (unnamed or (not is_blank(cell) and folded_name(cell) not in taken)):
            origins[len(header)] = position
            header.append(cell)
            columns.append(sheet.columns[position][at_row])
    ragged_now = {now: sheet.ragged[at] for now, at in enumerate(at_row.tolist()) if at in sheet.ragged}
    result = replace(
        sheet,
        header=header,
        columns=columns,
        rows=np.asarray(rows, dtype=int),
        ragged=ragged_now,
        origins=origins,
        read_by=made.reading.where,
        named=_named(made, taken, is_first),
        not_collected=made.reading.forms.not_collected.get(made.table.name, ()),
        faults=[*sheet.faults, *made.faults],
    )
    return replace(result, decisions=[*sheet.decisions, *_decisions(made, result)])


def _named(made: _Columns, taken: Collection[str], is_first: bool) -> dict[int, str]:
    """See `Sheet.named`; of a file of several tables the first one answers for what no table takes."""
    forms, table = made.reading.forms, made.table
    entries = [*forms.columns.get(table.name, {}).items()]
    entries += [entry for group in forms.each.get(table.name, ()) for entry in group.columns.items()]
    named = {
        at: name
        for name, form in entries
        for source in form.sources
        for at in made.positions.get(folded_name(source), ())
    }
    ignored = {folded_name(name) for name in forms.ignore}
    for position, cell in enumerate(made.sheet.header):
        name = "" if is_blank(cell) else folded_name(cell)
        if name in made.cells and position not in named:
            named[position] = name
        elif is_first and (name in ignored or name not in taken):
            named.setdefault(position, "")
    return named


def _decisions(made: _Columns, result: Sheet) -> list[Decision]:
    position = {name: at for at, name in enumerate(result.header)}
    return [
        Decision(
            table=made.table.name,
            file=result.source.told,
            row=None,
            column=column,
            place=f"{result.shown}, {column}" if column else result.shown,
            stood=f"{n_cells} times: {stood}" if n_cells > 1 else stood,
            taken_for=taken_for,
            rule=rule,
            n_cells=n_cells,
        )
        for column, counts in made.counts.items()
        for (rule, stood, taken_for), n_cells in counts.of.items()
        if not column or column in position or rule == "not_collected"
    ]
