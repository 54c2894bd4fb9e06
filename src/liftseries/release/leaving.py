"""The tables of a run in the form in which they may leave the house, before any number of theirs is withheld.

A table that is not declared is emptied, and so is a column of numbers. Rows by a column's levels go where the
declaration does not name it (an operator's), and so do terms that are a level of such a column where it holds free text
(`operator[A]`): that may be a name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.base.named import function_named
from liftseries.disclosure.declared import LEAVE_BY
from liftseries.models.questions import ANALYSES, tables_that_may_leave
from liftseries.models.shared.levels import is_text
from liftseries.release.entries import row_of
from liftseries.report.kit.material import Material

LEVEL_OF = re.compile(r"^(\w+)(?:\[|: )")  # `approach[guided]`, `approach: freehand to guided`


def leaving(material: Material, cases: pd.DataFrame) -> Material:
    """What is left of a run's material.

    Parameters
    ----------
    material : of a finished run
    cases : one row a site, as `models.cases` gives it
    """
    declared = tables_that_may_leave()
    tables = {name: table.iloc[:0] for name, table in material.tables.items() if name not in declared}
    for name, rules in declared.items():
        table = material.table(name)
        if rules.coarsened:
            table = function_named(rules.coarsened)(material.tables)
        undeclared = set(table.select_dtypes("number")) - set(rules.numbers)
        table = table.loc[_may_leave(table, rules.leave_by, cases)].reset_index(drop=True)
        tables[name] = table.assign(**dict.fromkeys(undeclared, np.nan))
    return replace(material, tables=tables)


def _may_leave(table: pd.DataFrame, leave_by: tuple[str, ...], cases: pd.DataFrame) -> np.ndarray:
    """Which rows of a table may leave, shape (n_rows,)."""
    if "subset" not in table:
        return np.ones(len(table), bool)
    may = [set(_told_by(row, cases)) <= set(_leave_by(row, leave_by)) for row in table.itertuples(index=False)]
    return np.array(may, bool)


def _told_by(row, cases: pd.DataFrame) -> Iterator[str]:
    """Columns by whose levels a row is told."""
    if row.subset != "all":
        yield row.subset.partition("=")[0]
    if "term" in row._fields and (found := LEVEL_OF.match(row_of(row).term)):
        column = found[1]
        if column in cases and is_text(cases[column]):
            yield column


def _leave_by(row, of_table: tuple[str, ...]) -> tuple[str, ...]:
    """Columns by whose levels a row may leave: where analyses meet in a table, each says so itself."""
    if "analysis" not in row._fields:
        return of_table
    analysis = ANALYSES.get(row_of(row).analysis if "term" in row._fields else row.analysis)
    return analysis.leave_by if analysis else LEAVE_BY
