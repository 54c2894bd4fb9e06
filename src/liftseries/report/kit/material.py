"""What a report is made from: everything the chapters of a run left, read once.

A file that a run did not leave is an empty table, and the report says so in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.base.tables import read_table
from liftseries.models.files import file_of, work_file
from liftseries.models.questions import QUESTIONS
from liftseries.models.shared.results import DESIGN_EFFECT, LEFT_OUT_COLUMNS, RESULT_COLUMNS
from liftseries.report.kit.declarations import NARROW
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.words import Words

# Table -> the columns that an empty one still has.
COLUMNS = {
    "counts": "table file read kept set_aside",
    "set_aside": "table file row column value_class rule message",
    "corrected": "table column cells rows people",
    "filled_cells": "table column site_id months",
    "oddities": "table file row column rule message accepted",
    "ladder_cases": "case site_label approach step_no deviations",
    "since_earlier": "table new gone changed",
    "results": " ".join(RESULT_COLUMNS),
    "actions": "id year indicator unit what owner due measure status closed_on reason",
    "responses": "year unit indicator replied_on data_corrected statement",
    "changes": "year unit what",
} | {table.name: table.columns for question in QUESTIONS for table in question.leaves}

NOBODY_SEEN = {remark("none_followed"), remark("bone_height_not_recorded")}


@dataclass(frozen=True)
class Withheld:
    """How much was withheld of a report that leaves the house, and by what rule.

    Attributes
    ----------
    smallest_cell : fewest patients that a printed count, or a mean, may rest on
    median_needs, quartiles_need : fewest patients behind a median, behind quartiles
    n_counts, n_counts_withheld : how many counts the report in the house prints, and how many of them are withheld
    n_numbers_withheld : how many other numbers went with them
    rows_leave : whether coarsened rows stand beside the report
    after_others : whether there were releases of other runs before
    """

    smallest_cell: int
    median_needs: int
    quartiles_need: int
    n_counts: int
    n_counts_withheld: int
    n_numbers_withheld: int
    rows_leave: bool
    after_others: bool = False


@dataclass(frozen=True, eq=False)
class Material:
    """Everything a report prints.

    Attributes
    ----------
    plan : study.yaml with every default filled in (`Plan.as_written`)
    versions : package -> version
    inputs : input file -> SHA-256
    tables : name -> table: those of `COLUMNS`, and `left_out`, all `work/*.left_out.csv` one under another
    figures, narrow_figures : name -> the SVG, and that of its layout in one column
    withheld : of a report that leaves the house what was withheld; None of the one that stays
    """

    plan: Mapping[str, Any]
    versions: Mapping[str, str]
    inputs: Mapping[str, str]
    tables: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Path] = field(default_factory=dict)
    narrow_figures: Mapping[str, Path] = field(default_factory=dict)
    withheld: Withheld | None = None

    @property
    def results(self) -> pd.DataFrame:
        """results.csv."""
        return self.tables["results"]

    @property
    def asked(self) -> Mapping[str, Any]:
        """The section `plan` of study.yaml, every default filled in."""
        return self.plan["plan"]

    @cached_property
    def words(self) -> Words:
        """The names of the study's columns."""
        return Words(self.plan["extra_columns"])

    @property
    def has_visits(self) -> bool:
        """Whether any implant was seen at a visit."""
        followed = self.results[self.results["analysis"].isin(["survival.km", "gain.mixed"])]
        n = pd.to_numeric(followed["n_sites"]).fillna(0)
        # A release tells no count of most rows, and what was not possible of all.
        return bool((n.gt(0) | n.lt(0) & ~followed["problem"].isin(NOBODY_SEEN)).any())

    @property
    def left_out(self) -> pd.DataFrame:
        """The sites that analyses left out, and why."""
        return self.tables["left_out"]

    def table(self, name: str) -> pd.DataFrame:
        """A table of the run."""
        return self.tables[name]

    def read(self, source: str) -> pd.DataFrame:
        """A source of a figure (`draw_figure`): a table or `results:…`; empty where this holds no such table."""
        analysis = source.removeprefix("results:")
        return self.rows(analysis) if analysis != source else self.tables.get(source, pd.DataFrame())

    def rows(self, analysis: str, subset: str | None = None) -> pd.DataFrame:
        """Rows of results.csv of one analysis, of one subset where it is named."""
        chosen = self.results["analysis"].eq(analysis)
        if subset is not None:
            chosen &= self.results["subset"].eq(subset)
        return self.results[chosen]

    def quoted(self, *analyses: str) -> pd.DataFrame:
        """The rows of these analyses that the report quotes: the headlines that have an estimate."""
        return quoted_in(self.results[self.results["analysis"].isin(analyses)])

    def design_effect(self, analysis: str, subset: str, term: str, method: str = "") -> tuple[float, str]:
        """The design effect of a clustered row and its note, by any method where none is named; NaN where none is."""
        return self._design_effects.get((subset, f"{analysis} {term}", method), (math.nan, ""))

    @cached_property
    def _design_effects(self) -> dict[tuple[str, str, str], tuple[float, str]]:
        """Subset, term and method -> design effect and note; without a method the first that stands there."""
        rows = self.rows(DESIGN_EFFECT)
        rows = pd.concat([rows, rows.drop_duplicates(["subset", "term"]).assign(method="")])
        keys = zip(rows["subset"], rows["term"], rows["method"], strict=True)
        return dict(zip(keys, zip(rows["estimate"].astype(float), rows["note"].astype(str), strict=True), strict=True))


def read_material(
    output: Path | str,
    plan: Mapping[str, Any],
    versions: Mapping[str, str] | None = None,
    inputs: Mapping[str, str] | None = None,
) -> Material:
    """Read an output folder.

    Parameters
    ----------
    output : where a run left `results.csv`, `checked/`, `work/`
    plan : study.yaml with defaults (`Plan.as_written`)
    versions : of the packages that were used
    inputs : input file -> SHA-256
    """
    output = Path(output)
    tables = {name: read_table(output / file_of(name), COLUMNS[name].split()) for name in COLUMNS}
    left_out = [read_table(path, LEFT_OUT_COLUMNS) for path in sorted(output.glob(work_file("*.left_out")))]
    left_out = [table for table in left_out if len(table)] or [pd.DataFrame(columns=list(LEFT_OUT_COLUMNS))]
    tables["left_out"] = pd.concat(left_out, ignore_index=True)
    return Material(
        plan=plan,
        versions=versions or {},
        inputs=inputs or {},
        tables=tables,
    )


def with_figures(material: Material, drawn: Iterable[Path]) -> Material:
    """The same with the figures that lie in these folders."""
    figures, narrow = (
        {path.stem: path for folder in drawn for path in sorted(folder.glob(form))}
        for form in ("*.svg", f"{NARROW}/*.svg")
    )
    return replace(material, figures=figures, narrow_figures=narrow)
