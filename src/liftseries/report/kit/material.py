"""What a report is made from: everything the chapters of a run left, read once.

A file that a run did not leave is an empty table, and the report says so in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from liftseries.base.tables import read_table
from liftseries.models.questions import QUESTIONS
from liftseries.models.shared.results import DESIGN_EFFECT, LEFT_OUT_COLUMNS, RESULT_COLUMNS

# Tables that no question leaves -> file in the output folder and the columns that an empty one still has.
SPINE = {
    "counts": ("checked/counts.csv", "table file read kept set_aside"),
    "set_aside": ("set_aside.csv", "table file row column value_class rule message"),
    "ladder_cases": ("models/ladder_cases.csv", "case site_label approach step_no deviations"),
    "results": ("results.csv", " ".join(RESULT_COLUMNS)),
}
FILES = SPINE | {
    table.name: (f"models/{table.name}.csv", table.columns) for question in QUESTIONS for table in question.leaves
}
# fmt: on


@dataclass(frozen=True)
class Material:
    """Everything a report prints.

    Attributes
    ----------
    plan : study.yaml with every default filled in (`Plan.as_written`)
    versions : package -> version
    inputs : input file -> SHA-256
    tables : name -> table: those of `FILES`, and `left_out`, all `models/*.left_out.csv` one under another
    figures : name -> the SVG
    withheld : what a report that leaves the house says of the numbers withheld; none in the one that stays
    """

    plan: Mapping[str, Any]
    versions: Mapping[str, str]
    inputs: Mapping[str, str]
    tables: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Path] = field(default_factory=dict)
    withheld: Sequence[str] = ()

    @property
    def results(self) -> pd.DataFrame:
        """results.csv."""
        return self.tables["results"]

    @property
    def left_out(self) -> pd.DataFrame:
        """The sites that analyses left out, and why."""
        return self.tables["left_out"]

    def table(self, name: str) -> pd.DataFrame:
        """A table of the run."""
        return self.tables[name]

    def rows(self, analysis: str, subset: str | None = None) -> pd.DataFrame:
        """Rows of results.csv of one analysis, of one subset where it is named."""
        chosen = self.results["analysis"].eq(analysis)
        if subset is not None:
            chosen &= self.results["subset"].eq(subset)
        return self.results[chosen]

    def design_effect(self, analysis: str, subset: str, term: str) -> float:
        """The design effect of a clustered row; NaN where it has none."""
        rows = self.rows(DESIGN_EFFECT, subset)
        found = rows.loc[rows["term"].eq(f"{analysis} {term}"), "estimate"]
        return float(found.iloc[0]) if len(found) else math.nan

    def has_table(self, name: str) -> bool:
        """Whether study.yaml names any file for a table of the contract."""
        return bool(self.plan.get("tables", {}).get(name))


def read_material(
    output: Path | str,
    plan: Mapping[str, Any],
    versions: Mapping[str, str] | None = None,
    inputs: Mapping[str, str] | None = None,
) -> Material:
    """Read an output folder.

    Parameters
    ----------
    output : where a run left `results.csv`, `checked/`, `models/`, `figures/`
    plan : study.yaml with defaults (`Plan.as_written`)
    versions : of the packages that were used
    inputs : input file -> SHA-256
    """
    output = Path(output)
    tables = {name: read_table(output / file, columns.split()) for name, (file, columns) in FILES.items()}
    left_out = [read_table(path, LEFT_OUT_COLUMNS) for path in sorted(output.glob("models/*.left_out.csv"))]
    left_out = [table for table in left_out if len(table)] or [pd.DataFrame(columns=list(LEFT_OUT_COLUMNS))]
    tables["left_out"] = pd.concat(left_out, ignore_index=True)
    return Material(
        plan=plan,
        versions=versions or {},
        inputs=inputs or {},
        figures={path.stem: path for path in sorted(output.glob("figures/*.svg"))},
        tables=tables,
    )
