"""The same series in which what is withheld holds other values: what leaves must not differ by a byte."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
from release_series import SMALLEST_CELL

from liftseries.models.questions import tables_that_may_leave
from liftseries.release import bundle
from liftseries.release.masking import Masked, masked_material
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD


def other(values: pd.Series) -> pd.Series:
    """Other numbers, none of them missing that was not."""
    return values * 3 + 7


def with_other_values(masked: Masked) -> Masked:
    """The same bundle from tables in which each withheld count and number is another one."""
    tables = dict(masked.whole.tables)
    for name, rules in tables_that_may_leave().items():
        table, told = masked.whole.table(name).copy(), masked.material.table(name)
        for column in (column for column in rules.numbers if column in table and column not in rules.labels):
            values = pd.to_numeric(table[column]).astype(float)
            withheld_count = told[column].lt(0) & (column in rules.counts)
            hidden = values.notna() & (told[column].isna() | withheld_count).to_numpy(bool)
            table[column] = values.where(~hidden, other(values))
        if name == "results":
            went = told["problem"].eq(WITHHELD).to_numpy(bool)
            for column in ("note", "problem"):
                table[column] = table[column].astype(object).mask(went, "a remark on three patients")
        tables[name] = table
    whole = replace(masked.whole, tables=tables)
    material, withheld = masked_material(whole, masked.behind, masked.ledger, masked.protection, SMALLEST_CELL)
    return replace(masked, material=material, whole=whole, withheld=withheld)


def with_other_undeclared(material: Material) -> Material:
    """A run in which all that no declaration lets leave is another: tables, columns of numbers, files, hashes."""
    tables, declared = dict(material.tables), tables_that_may_leave()
    for name, table in material.tables.items():
        may = set(declared[name].numbers) if name in declared else set()
        numbers = set(table.select_dtypes("number")) - may - ({"std_error", "df"} if name == "results" else set())
        tables[name] = table.assign(**{column: other(table[column].astype(float)) for column in numbers})
    tables["results"] = tables["results"].assign(std_error=1.5, df=3.0)
    files = {table: [f"other_{file}" for file in named] for table, named in material.plan.get("tables", {}).items()}
    return replace(material, tables=tables, inputs={"other.csv": "1" * 64}, plan={**material.plan, "tables": files})


def bytes_of(masked: Masked, room: Path) -> dict[str, bytes]:
    """Every file of the bundle."""
    bundle._write(room, masked, SMALLEST_CELL, rows_leave=False)
    return {str(path.relative_to(room)): path.read_bytes() for path in sorted(room.rglob("*")) if path.is_file()}
