"""A file's sheet as the sheet of one table: the dictionary's header, cells as the forms make them, places as filed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import numpy as np

from liftseries.intake.files.grid import SheetFault, is_blank, spoken
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.forms.cells import blanks, says_nothing
from liftseries.intake.forms.columns import (
    Columns,
    built_column,
    check_what_is_said,
    confirm_words,
    finish_column,
    make_column,
    position_of,
)
from liftseries.intake.forms.rows import (
    key_texts,
    nothing_of_its_own,
    one_row_a_key,
    rows_named,
    words_without_rows,
)
from liftseries.intake.told.decisions import Decision
from liftseries.study.forms import Forms, folded_name
from liftseries.study.reading import Reading
from liftseries.study.schema import Table


def named_elsewhere(tables: Mapping[str, Table], reading: Reading) -> set[str]:
    """Columns of a file that one of its tables takes, by folded names."""
    forms = reading.forms
    named = {folded_name(name) for table in tables for name in forms.sources(table)}
    return named | {folded_name(name) for name in forms.ignore} | {c for t in tables.values() for c in t.columns}


def _read_as_their_own(tables: Iterable[Table], forms: Forms, positions: Mapping[str, list[int]]) -> set[str]:
    """Columns of the file that one of its tables takes under the table's own name."""
    made = {
        table.name: {*forms.columns.get(table.name, {})}
        | {name for group in forms.each.get(table.name, ()) for name in (*group.numbers, *group.columns)}
        for table in tables
    }
    return {name for table in tables for name in table.columns if name in positions and name not in made[table.name]}


def _without_groups_of_others(forms: Forms, positions: Mapping[str, list[int]]) -> Forms:
    """The forms without those groups of `each` that are said of all files, and of whose columns this file has none."""
    each = {}
    for table, groups in forms.each.items():
        sources = [[folded_name(s) for form in group.columns.values() for s in form.sources] for group in groups]
        kept = [
            group
            for group, names in zip(groups, sources, strict=True)
            if any(name in positions or name not in forms.common for name in names)
        ]
        each |= {table: tuple(kept)} if kept else {}
    return replace(forms, each=each)


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
    positions: dict[str, list[int]] = {}
    for position, cell in enumerate(sheet.header):
        if not is_blank(cell):
            positions.setdefault(folded_name(cell), []).append(position)
    forms = _without_groups_of_others(reading.forms, positions)
    reading, is_first = replace(reading, forms=forms), next(iter(sharing)) == table.name
    made = Columns(sheet, table, reading, positions)
    made.taken = {folded_name(name) for of in sharing for name in (*forms.sources(of), *forms.ignore)}
    made.taken |= _read_as_their_own(sharing.values(), forms, positions)
    rows = _rows_of_table(made)
    if is_first:
        _tell_rows_of_no_table(made, sharing)
    made.sheet = sheet if rows is None else sheet.without(set(sheet.rows[~rows].tolist()))
    for name in table.columns:
        make_column(made, name)
    rows_of, at_row = _each(made)
    for name in list(made.cells):
        confirm_words(made, name)
    repeated = {name: form.repeated for name, form in forms.columns.get(table.name, {}).items() if form.repeated}
    if len(sharing) > 1:
        rows_of, at_row = _rows_of_its_own(made, rows_of, at_row)
    if len(sharing) > 1 or repeated:
        rows_of, at_row = _one_row_each(made, rows_of, at_row, repeated)
    for name in list(made.cells):
        finish_column(made, name)
    check_what_is_said(made, len(rows_of))
    return _as_sheet(made, rows_of, at_row, named_elsewhere(sharing, reading), is_first)


# ── rows ────────────────────────────────────────────────────────────────────────────────────────────────────────


def _rows_of_table(made: Columns) -> np.ndarray | None:
    """Which rows of the file are the table's; None = all.

    A word that no row has is a fault; of words that are said of all files, `FilesRead` tells.
    """
    wanted, sheet, forms = made.reading.forms.only_rows.get(made.table.name, {}), made.sheet, made.reading.forms
    found = {name: at for name in wanted if (at := position_of(made, name)) is not None}
    if not found:
        return None
    chosen = rows_named([sheet.columns[at] for at in found.values()], [wanted[name] for name in found], len(sheet.rows))
    made.counted("").add("only_rows", "a row of another table, by `only_rows`", "no row of this one", (~chosen).sum())
    if len(chosen) and not chosen.any():
        made.fault("only_rows", f"`only_rows` of {made.table.name} names words that no row has. Correct them.")
    elif len(chosen):
        for name in (name for name in found if folded_name(name) not in forms.common):
            for word in words_without_rows(sheet.columns[found[name]], wanted[name]):
                made.faults.append(no_such_word(made.reading, made.table.name, name, word))
    return chosen


def no_such_word(reading: Reading, table: str, name: str, word: str) -> SheetFault:
    message = f'`only_rows` of {table}, {name}: no row has "{word}". Correct the word, or take it out.'
    return SheetFault("only_rows", reading.where, message)


def _tell_rows_of_no_table(made: Columns, sharing: Collection[str]) -> None:
    """Filled rows that `only_rows` gives to none of the tables that name the file."""
    sheet, wanted = made.sheet, made.reading.forms.only_rows
    taken = np.zeros(len(sheet.rows), dtype=bool)
    for table in sharing:
        found = [
            (at[0], words)
            for name, words in wanted.get(table, {}).items()
            if len(at := made.positions.get(folded_name(name), [])) == 1
        ]
        if not found:
            return  # takes every row
        taken |= rows_named([sheet.columns[at] for at, _ in found], [words for _, words in found], len(taken))
    left = [row for row in sheet.rows[~taken].tolist() if row not in sheet.left_out]
    if left:
        what = f"row {left[0]} is" if len(left) == 1 else f"{len(left)} rows are filled (row {spoken(left)}) and"
        message = f"{what} no table's by `only_rows`. Add the word there, or correct the cell."
        made.fault("row_is_of_a_table", f"{sheet.shown}: {message}")


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
        filled, said = np.zeros(n_rows, dtype=bool), np.zeros(n_rows, dtype=bool)
        for column in cells.values():
            filled |= ~blanks(column)
            said |= ~says_nothing(column, made.reading)
        what = "a group of columns with words for a missing value alone"
        made.counted("").add("group_says_nothing", what, "no row of this table", (filled & ~said).sum())
        for name, number in group.numbers.items():
            cells[name], origins[name] = np.full(n_rows, number, dtype=object), None
        pieces.append((np.flatnonzero(said), cells, origins))
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


def _keep(made: Columns, chosen: np.ndarray) -> None:
    made.cells = {name: cells[chosen] for name, cells in made.cells.items()}
    made.origins = {
        name: origin[chosen] if isinstance(origin, np.ndarray) else origin for name, origin in made.origins.items()
    }


def _rows_of_its_own(made: Columns, rows: np.ndarray, at_row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of a file of several tables: rows with nothing of this one go."""
    empty = nothing_of_its_own(made.cells, made.table, made.constant, made.reading, len(rows))
    if empty.any():
        what = "a row with nothing under the table's own columns"
        made.counted("").add("row_of_another_table", what, "no row of this table", empty.sum())
        _keep(made, np.flatnonzero(~empty))
    return rows[~empty], at_row[~empty]


def _one_row_each(
    made: Columns, rows: np.ndarray, at_row: np.ndarray, repeated: Mapping[str, str]
) -> tuple[np.ndarray, np.ndarray]:
    """The rows of a key become one; `repeated`: column -> first, last."""
    keys = key_texts(made.cells, made.table)
    if keys is None:
        return rows, at_row
    kept, cells, n_filled = one_row_a_key(made.cells, made.table, keys, repeated, rows, made.reading)
    made.counted("").add("one_row_a_key", "a further row of the same key", "the same row", len(rows) - len(kept))
    made.counted("").add("one_row_a_key", "an empty cell or a repeated one", "that of another row", n_filled)
    _keep(made, kept)
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
        filled={name: empty for name, empty in made.filled.items() if empty.any()},
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
