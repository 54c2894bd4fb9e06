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

from liftseries.models.shared.results import DESIGN_EFFECT, LEFT_OUT_COLUMNS, RESULT_COLUMNS

IMPUTATION = "variable level_of n_missing model predictors"
# field of Material -> its file in the output folder and the columns that an empty one still has
FILES = {
    "counts": ("checked/counts.csv", "table file read kept set_aside"),
    "set_aside": ("set_aside.csv", "table file row column value_class rule message"),
    "flow": ("models/flow.csv", "stage n_patients n_sites"),
    "characteristics": (
        "models/characteristics.csv",
        "unit column level subset n n_known n_missing share mean sd median q1 q3",
    ),
    "missing": ("models/missing.csv", "column subset n n_missing n_not_applicable share"),
    "deviations": ("models/deviations.csv", "deviation subset n_sites n_true share"),
    "complications": ("models/complications.csv", "complication n_sites n_patients n_asked share"),
    "life_table": (
        "models/life_table.csv",
        "start_months end_months n_entering n_censored n_failed n_effective risk survival",
    ),
    "at_risk": ("models/survival_at_risk.csv", "subset months n_at_risk n_failed n_censored"),
    "ladder_cases": ("models/ladder_cases.csv", "case site_label approach step_no deviations"),
    "gain_variances": ("models/gain_variances.csv", "patient_sd_mm site_sd_mm residual_sd_mm n_visits"),
    "gain_by_visit": ("models/gain_by_visit.csv", "months n mean sd"),
    "perforation_imputation": ("models/perforation_imputation.csv", IMPUTATION),
    "survival_imputation": ("models/survival_imputation.csv", IMPUTATION),
    "results": ("results.csv", " ".join(RESULT_COLUMNS)),
}
# fmt: off
TEXT_COLUMNS = (
    "analysis", "subset", "term", "scale", "method", "problem", "reason", "level", "stage", "column",
    "unit", "table", "file", "rule", "message", "value_class", "deviation",
    "complication", "rungs_mm", "deviations", "site_label", "variable", "level_of", "model", "predictors",
)
# fmt: on


@dataclass(frozen=True)
class Material:
    """Everything a report prints.

    Attributes
    ----------
    plan : study.yaml with every default filled in (`Plan.as_written`)
    versions : package -> version
    inputs : input file -> SHA-256
    counts, set_aside, flow, characteristics, missing, deviations, complications, life_table, at_risk,
    ladder_cases, gain_variances, gain_by_visit, perforation_imputation, survival_imputation,
    results : the tables of `FILES`
    left_out : all `models/*.left_out.csv`, one under another
    figures : name -> the SVG
    withheld : what a report that leaves the house says of the numbers withheld; none in the one that stays
    """

    plan: Mapping[str, Any]
    versions: Mapping[str, str]
    inputs: Mapping[str, str]
    counts: pd.DataFrame
    set_aside: pd.DataFrame
    flow: pd.DataFrame
    characteristics: pd.DataFrame
    missing: pd.DataFrame
    deviations: pd.DataFrame
    complications: pd.DataFrame
    life_table: pd.DataFrame
    at_risk: pd.DataFrame
    ladder_cases: pd.DataFrame
    gain_variances: pd.DataFrame
    gain_by_visit: pd.DataFrame
    perforation_imputation: pd.DataFrame
    survival_imputation: pd.DataFrame
    results: pd.DataFrame
    left_out: pd.DataFrame
    figures: Mapping[str, Path] = field(default_factory=dict)
    withheld: Sequence[str] = ()

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


def read_table(path: Path | str, columns: Sequence[str] = ()) -> pd.DataFrame:
    """A CSV that a run left; texts stay texts (a level `NA`, a term `12`), an absent file is an empty one."""
    path = Path(path)
    if not path.is_file() or not path.stat().st_size:
        return pd.DataFrame(columns=list(columns))
    texts = dict.fromkeys(TEXT_COLUMNS, str)
    table = pd.read_csv(path, dtype=texts, keep_default_na=False, na_values=[""])
    missing = [column for column in columns if column not in table]
    table = table.assign(**dict.fromkeys(missing))
    for column in ("term", "method", "problem", "subset", "level"):
        if column in table:
            table[column] = table[column].fillna("")
    return table


def read_estimates(path: Path | str) -> pd.DataFrame:
    """A question's own rows, without the design effects that stand below them."""
    rows = read_table(path, RESULT_COLUMNS)
    return rows[~rows["analysis"].eq(DESIGN_EFFECT)].reset_index(drop=True)


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
    left_out = [table for table in left_out if len(table)]
    return Material(
        plan=plan,
        versions=versions or {},
        inputs=inputs or {},
        left_out=pd.concat(left_out, ignore_index=True) if left_out else pd.DataFrame(columns=list(LEFT_OUT_COLUMNS)),
        figures={path.stem: path for path in sorted(output.glob("figures/*.svg"))},
        **tables,
    )
