"""Made-up series of which groups are compared, from ample to none, with what a run leaves of them."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from made_series import PLAN
from made_tables import made_cases, made_visits

from liftseries.base.outputs import write_csv
from liftseries.models.comparison.drilling import fit_comparison_drilling
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.survival import fit_comparison_survival
from liftseries.models.files import file_of, work_file
from liftseries.models.questions import questions_for
from liftseries.models.shared.follow_up import follow_up
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.declarations import NARROW
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import Drawing, save
from liftseries.report.kit.material import Material, read_material, with_figures
from liftseries.report.kit.writer import write
from liftseries.report.purposes import purpose

COMPARISON = purpose("comparison")
BAND = {"groups": "rbh_band", "reference": "<4", "adjust_for": ["smoking"]}
KINDS: dict[str, dict[str, Any]] = {
    "two": {},
    "three": {"levels": "ABC", "asked": {"weights": ["overlap", "inverse_probability"]}},
    "five": {"levels": "ABCDE", "n_patients": 300},
    "many": {"levels": "ABCDEFG"},
    "band": {"asked": BAND},
    "centre": {"asked": {"groups": "centre", "reference": "east", "primary": "gain", "margin": 0.3}},
    "separated": {"asked": BAND | {"adjust_for": ["rbh_mid_mm"]}},
    "tied": {"levels": "AB", "tied": True},
    "years": {"levels": "AB", "years": True},
    "one": {"levels": "A"},
    "elsewhere": {"asked": {"reference": "Z"}},
    "no_visits": {"visits": False},
    "no_log": {"log": False, "asked": {"margin": None}},
    "few": {"n_patients": 12},
    "empty": {"n_patients": 0},
}


@dataclass(frozen=True)
class Compared:
    """A series as its report is made of it.

    Attributes
    ----------
    plan : study.yaml with defaults
    left : path within the output folder -> table
    """

    plan: Mapping[str, Any]
    left: Mapping[str, pd.DataFrame]

    def read(self, source: str) -> pd.DataFrame:
        """A table by the name under which figures ask for it."""
        if source.startswith("results:"):
            results = self.left["results.csv"]
            return results[results["analysis"].eq(source.removeprefix("results:"))]
        return self.left[file_of(source)]

    @cached_property
    def drawings(self) -> dict[tuple[str, bool], Drawing | None]:
        """Every figure of the comparison by its name and whether it is the narrow layout."""
        layouts = itertools.product(COMPARISON.figures, (False, True))
        return {(one.name, narrow): draw_figure(one, self.read, self.plan, narrow) for one, narrow in layouts}

    def written_in(self, output: Path) -> tuple[Material, Written]:
        """What a run leaves there, and the report made of it."""
        for path, table in self.left.items():
            write_csv(output / path, table)
        for (name, narrow), drawing in self.drawings.items():
            if drawing is not None:
                save(drawing, output / "figures" / (NARROW if narrow else "") / name, ["svg"])
        material = with_figures(read_material(output, self.plan, {"liftseries": "0"}), [output / "figures"])
        return material, write(COMPARISON, material)


def made_comparison(
    levels: str = "AB",
    n_patients: int = 150,
    tied: bool = False,
    years: bool = False,
    visits: bool = True,
    log: bool = True,
    asked: Mapping[str, Any] | None = None,
) -> Compared:
    """The four questions asked of a made-up series.

    Parameters
    ----------
    levels : the protocols, a letter each
    n_patients : with one to three sites each
    tied : whether each protocol has an operator of its own
    years : whether each protocol has a year of its own
    visits, log : whether there are any
    asked : of plan.comparison, other than in made_series
    """
    cases = made_cases(n_patients, 11, ("guided", "freehand"), log)
    rng = np.random.default_rng(12)
    protocol = rng.choice(list(levels), len(cases)).astype(object)
    operator = protocol if tied else cases["operator"]
    year = np.where(protocol == levels[0], 2018, 2021) if years else rng.integers(2018, 2022, len(cases))
    cases = cases.assign(protocol=protocol, operator=operator, surgery_year=pd.array(year, dtype="Int64"))
    visited = made_visits(cases if visits else cases.iloc[:0], 13)
    plan = deepcopy(PLAN)
    plan["plan"]["comparison"] |= asked or {}
    want = plan["plan"]["comparison"]
    given = [want[name] for name in ("groups", "reference", "adjust_for", "weights")]
    implants = follow_up(visited, cases).implants
    fits = {
        "comparison_perforation": fit_comparison_perforation(cases, *given),
        "comparison_survival": fit_comparison_survival(implants, cases, plan["plan"]["survival_months"], *given),
        "comparison_gain": fit_comparison_gain(visited, cases, *given),
        "comparison_drilling": fit_comparison_drilling(cases, *given),
    }
    left = {"results.csv": pd.concat([fit.rows for fit in fits.values()], ignore_index=True)}
    left |= {work_file(f"{name}.left_out"): fit.left_out for name, fit in fits.items()}
    for question in questions_for(["comparison"]):
        left |= {file_of(table.name): getattr(fits[question.name], table.attribute) for table in question.leaves}
    return Compared(plan, left)
