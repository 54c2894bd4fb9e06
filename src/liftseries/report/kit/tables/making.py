"""The declared tables made: rounded, in words, each row with its keys in results.csv."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import KeptIn, Table
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD
from liftseries.report.kit.tables.cells import Content, Display


def make_tables(tables: Sequence[Table], material: Material) -> dict[str, Display]:
    """Those of the declared tables that have rows, by name; in a report that leaves the house only those that may."""
    made: dict[str, Display] = {}
    for table in tables:
        if material.withheld and isinstance(table.released, KeptIn):
            continue
        content = function_named(table.makes)(material, material.words, **table.options)
        if content is not None and material.withheld:
            content = without_untold(content)
        if content is not None:
            made[table.name] = Display(table.name, table.caption, **vars(content))
    return made


def without_untold(content: Content) -> Content | None:
    """Without columns, and then rows, in which nothing is told; None where no row is left."""
    kept = [0, *(k for k in range(1, len(content.columns)) if not _nothing_told(row[k] for row in content.rows))]
    rows = [tuple(row[k] for k in kept) for row in content.rows]
    told = [k for k, row in enumerate(rows) if not _nothing_told(row[1:])]
    if not told or len(kept) == 1:
        return None
    keys = tuple(content.keys[k] for k in told) if content.keys else ()
    return replace(
        content, columns=tuple(content.columns[k] for k in kept), rows=tuple(rows[k] for k in told), keys=keys
    )


def _nothing_told(cells: Iterable[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and all(cell == WITHHELD for cell in filled)
