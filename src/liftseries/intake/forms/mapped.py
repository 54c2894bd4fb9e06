"""A file's sheet as the sheet of one table: the dictionary's header, cells as the forms make them, places as filed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from liftseries.intake.files.grid import is_blank
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.forms.cells import blanks
from liftseries.intake.forms.columns import (
    Columns,
    built_column,
    check_what_is_said,
    finish_column,
    make_column,
    position_of,
)
from liftseries.intake.forms.rows import key_texts, nothing_of_its_own, one_row_a_key, rows_named
from liftseries.intake.told.decisions import Decision
from liftseries.study.forms import folded_name
from liftseries.study.reading import Reading
from liftseries.study.schema import Table


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
    made = Columns(sheet, table, reading, positions)
    rows = _rows_of_table(made, forms.only_rows.get(table.name, {}))
    made.sheet = sheet if rows is None else sheet.without(set(sheet.rows[~rows].tolist()))
    for name in table.columns:
        make_column(made, name)
    rows_of, at_row = _each(made)
    if len(sharing) > 1:
        rows_of, at_row = _one_row_each(made, rows_of, at_row)
    for name in list(made.cells):
        finish_column(made, name)
    check_what_is_said(made)
    return _as_sheet(made, rows_of, at_row, named_elsewhere(sharing, reading), next(iter(sharing)) == table.name)


# ── rows ────────────────────────────────────────────────────────────────────────────────────────────────────────


def _rows_of_table(made: Columns, wanted: Mapping[str, tuple[str, ...]]) -> np.ndarray | None:
    """Which rows of the file are the table's; None = all."""
    found = [
        (made.sheet.columns[at], words) for name, words in wanted.items() if (at := position_of(made, name)) is not None
    ]
    if not found:
        return None
    chosen = rows_named([cells for cells, _ in found], [words for _, words in found], len(made.sheet.rows))
    made.counted("").add("only_rows", "a row of another table, by `only_rows`", "no row of this one", (~chosen).sum())
    if len(chosen) and not chosen.any():
        made.fault("only_rows", f"`only_rows` of {made.table.name} names words that no row has. Correct them.")
    return chosen


def _each(made: Columns) -> tuple[np.ndarray, np.ndarray]:
    """Groups of columns to a row each: the file's row number of every row, and its position in the sheet."""
    n_rows, groups = len(made.sheet.rows), made.reading.forms.each.get(made.table.name, ())
    if not groups:
        return made.sheet.rows, np.arange(n_rows)
    pieces = []
    for group in groups:
        cells, origins = {}, {}
        for name, form in group.columns.items():
            if (built := built_column(made, name, form)) is not None:
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
        stacked = [
            cells[name][at] if name in cells else np.full(len(at), None, dtype=object) for at, cells, _ in pieces
        ]
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


def _one_row_each(made: Columns, rows: np.ndarray, at_row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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


# ── the sheet ───────────────────────────────────────────────────────────────────────────────────────────────────


def _as_sheet(made: Columns, rows: np.ndarray, at_row: np.ndarray, taken: Collection[str], is_first: bool) -> Sheet:
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


def _named(made: Columns, taken: Collection[str], is_first: bool) -> dict[int, str]:
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


def _decisions(made: Columns, result: Sheet) -> list[Decision]:
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
