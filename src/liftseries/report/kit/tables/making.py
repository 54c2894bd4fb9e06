"""The declared tables made: rounded, in words, each row with its keys in results.csv."""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import KeptIn, Table
from liftseries.report.kit.material import Material
from liftseries.report.kit.tables.cells import Display


def make_tables(tables: Sequence[Table], material: Material) -> dict[str, Display]:
    """Those of the declared tables that have rows, by name; in a report that leaves the house only those that may."""
    made: dict[str, Display] = {}
    for table in tables:
        if material.withheld and isinstance(table.released, KeptIn):
            continue
        content = function_named(table.makes)(material, material.words, **table.options)
        if content is not None:
            made[table.name] = Display(table.name, table.caption, **vars(content))
    return made
