"""The declared tables made: rounded, in words, each row with its keys in results.csv."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import KeptIn, Table
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, counted, listed
from liftseries.report.kit.tables.cells import Content, Display

NOTHING = re.compile(rf"\b({WITHHELD}|of)\b|[–/,\s]")  # what a cell of numbers withheld is made of, and no more


class MadeTables(Mapping[str, Display]):
    """Those of the declared tables that have rows, by name, each made when it is first asked for.

    In a report that leaves the house only those that may.
    """

    def __init__(self, tables: Sequence[Table], material: Material):
        self.declared, self.material = {table.name: table for table in tables}, material
        self._made: dict[str, Display | None] = {}

    def __getitem__(self, name: str) -> Display:
        if name not in self._made:
            self._made[name] = _made(self.declared[name], self.material)
        if self._made[name] is None:
            raise KeyError(name)
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return (name for name in self.declared if name in self)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def _made(table: Table, material: Material) -> Display | None:
    if material.withheld and isinstance(table.released, KeptIn):
        return None
    content = function_named(table.makes)(material, material.words, **table.options)
    if content is not None and material.withheld:
        content = without_untold(content)
    return None if content is None else Display(table.name, table.caption, **vars(content))


def without_untold(content: Content) -> Content | None:
    """Without columns, and then rows, in which nothing is told, which the note counts; None where no row is left.

    A row that is empty but for its name heads those below it, and goes with the last of them.
    """
    columns = range(1, len(content.columns))
    kept = [0, *(k for k in columns if not _nothing_told(row[k] for row in content.rows))]
    rows = [tuple(row[k] for k in kept) for row in content.rows]
    heads = [_heads(row) for row in content.rows]
    told = [k for k, row in enumerate(rows) if not heads[k] and not _nothing_told(row[1:])]
    if not told:
        return None
    gone = {"columns": len(content.columns) - len(kept), "rows": len(rows) - sum(heads) - len(told)}
    first_below = {max((h for h in range(k) if heads[h]), default=-1) for k in told}
    stay = sorted({*told, *(k for k in first_below if k >= 0)})
    keys = tuple(content.keys[k] for k in stay) if content.keys else ()
    return replace(
        content,
        columns=tuple(content.columns[k] for k in kept),
        rows=tuple(rows[k] for k in stay),
        note=" ".join(filter(None, (content.note, _left_out(**gone)))),
        keys=keys,
    )


def _heads(row: Sequence[str]) -> bool:
    return not any(row[1:])


def _nothing_told(cells: Iterable[str]) -> bool:
    return not any(NOTHING.sub("", cell) for cell in cells)


def _left_out(columns: int, rows: int) -> str:
    """A sentence that counts what went."""
    gone = [counted(n, one) for n, one in ((rows, "row"), (columns, "column")) if n]
    return f"Left out, as nothing of it is told: {listed(gone)}." if gone else ""
