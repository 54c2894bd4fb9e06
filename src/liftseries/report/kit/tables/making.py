"""The declared tables made: rounded, in words, and traceable to results.csv.

Whatever results.csv holds stands in one of them, its row named in the last column; what could not be estimated stands
there with its problem.
"""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.base.named import function_named
from liftseries.report.kit.declarations import KeptIn, Table
from liftseries.report.kit.material import Material
from liftseries.report.kit.tables.cells import Display, traced


def make_tables(tables: Sequence[Table], material: Material) -> dict[str, Display]:
    """Those of the declared tables that have rows, by name; in a report that leaves the house only those that may.

    The one that takes the rest is made last, of what no other shows.
    """
    made: dict[str, Display] = {}
    for table in sorted(tables, key=lambda table: table.takes_the_rest):
        if material.withheld and isinstance(table.released, KeptIn):
            continue
        covered = {"covered": set().union(*map(traced, made.values()))} if table.takes_the_rest else {}
        content = function_named(table.makes)(material, material.words, **table.options, **covered)
        if content is not None:
            made[table.name] = Display(table.name, table.caption, **vars(content))
    return made
