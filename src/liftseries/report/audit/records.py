"""Single-case records: one site on one page, planned and drilled depths pass by pass, and what followed."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from liftseries.geometry.derived import reach
from liftseries.geometry.ladder import LadderPass, climb
from liftseries.report.audit.record_words import (
    drilled_rows,
    facts,
    findings,
    lift,
    planned_rows,
    surgery,
    visit_rows,
)
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.words import Words, shortened
from liftseries.report.languages.say import say

GUIDED = "guided"
PLANNED = ("Rung", "Instrument", "Stop", "Depth, mm", "In the guide, mm")
DRILLED = ("Pass", "Instrument", "Stop", "Depth, mm", "Deeper by, mm", "In the guide, mm", "Floor felt")
VISITS = ("Month", "Status", "Bone height, mm", "Marginal bone, mm", "Complication")
MOST_PASSES, MOST_VISITS = 24, 9  # that a page holds


@dataclass(frozen=True)
class Records:
    """What records of a run's cases are made from; read once for all of them."""

    run: RunTables

    @cached_property
    def listed(self) -> pd.DataFrame:
        """The cases to review."""
        return self.run.left("audit_cases_to_review")

    @cached_property
    def titles(self) -> dict[str, str]:
        """Reason of the listing rule -> its title."""
        rule = self.run.left("audit_review_rule")
        return dict(zip(rule["name"], rule["title"], strict=True))

    @cached_property
    def instruments(self) -> pd.DataFrame:
        """What the study drilled with."""
        return self.run.checked("instruments")

    @cached_property
    def stops(self) -> pd.DataFrame:
        """Its stops."""
        return self.run.checked("stops")

    @cached_property
    def visits(self) -> pd.DataFrame:
        """All visits."""
        return self.run.checked("visits")

    @cached_property
    def site_ids(self) -> list[str]:
        """All sites."""
        return self.run.cases["site_id"].astype(str).tolist()

    def record(self, site_id: str) -> dict[str, Any]:
        """What the page of a site says, as `reports/case.typ` reads it.

        Raises
        ------
        KeyError
            There is no such site.
        """
        if site_id not in self.site_ids:
            raise KeyError(site_id)
        case, words = self.run.cases.iloc[self.site_ids.index(site_id)], Words(self.run.plan["extra_columns"])
        passes, problem = self._planned(case)
        steps = _of_site(self.run.steps, site_id, "step_no")
        visits = _of_site(self.visits, site_id, "months")
        return {
            "mark": say("audit_extra.for_committee_and_lead"),
            "title": say("audit_extra.record_title", site=shortened(site_id)),
            "why": self._why(site_id),
            "facts": facts(case, words),
            "surgery": surgery(case, words),
            "lift": lift(case),
            "findings": findings(case),
            "planned": _table(
                PLANNED,
                planned_rows(passes, self.instruments, self.stops),
                say("audit_extra.no_ladder", why=problem) if problem else "",
            ),
            "drilled": _table(DRILLED, drilled_rows(steps), "" if len(steps) else say("audit_extra.no_log")),
            "visits": _visits(visits),
            "drawing": _drawing(case, passes, steps, self.instruments),
            "blanks": ["Reviewer", "Conclusion", "Date"],
        }

    def _planned(self, case) -> tuple[list[LadderPass], str]:
        """The passes of the planned ladder, or why there is none."""
        approach = str(case["approach"])
        guided = approach == GUIDED
        needed = [case["rbh_min_mm"], case["rbh_max_mm"], *([case["platform_depth_mm"]] if guided else [])]
        if not len(self.instruments) or any(map(missing, needed)):
            return [], "a height, the platform or the instruments are not recorded"
        offset, tissue = (case.get(name) for name in ("guide_offset_mm", "soft_tissue_mm"))
        passes, problem = climb(
            reach(self.instruments, self.stops, approach),
            reach(self.instruments, self.stops, approach, gauges=True),
            float(case["rbh_min_mm"]),
            float(case["rbh_max_mm"]),
            float(case["platform_depth_mm"]) if guided else 0.0,
            self.run.asked["first_depth_margin_mm"][approach],
            self.run.asked["step_mm"],
            math.nan if missing(offset) else float(offset),
            math.nan if missing(tissue) else float(tissue),
        )
        return passes, problem or ""

    def _why(self, site_id: str) -> str:
        if not self.titles:
            return say("audit_extra.record_no_list")
        rows = self.listed[self.listed["site_id"].eq(site_id)]
        if not len(rows):
            return say("audit_extra.record_not_listed")
        names = str(rows["reasons"].iloc[0]).split()
        reasons = [_small(self.titles.get(name, name.replace("_", " "))) for name in names]
        place, n_sites = int(rows["place"].iloc[0]), len(self.listed)
        return say("audit_extra.record_listed", place=place, n_sites=n_sites, reasons=reasons)


def _table(headings: Iterable[str], rows: list[list[str]], none: str) -> dict[str, Any]:
    """A table of passes as far as the page holds them, and what is said below or instead of it."""
    more = len(rows) - MOST_PASSES
    note = say("audit_extra.more_passes", n_passes=more) if more > 0 else none
    return {"headings": list(headings), "rows": rows[:MOST_PASSES], "note": note}


def _of_site(table: pd.DataFrame, site_id: str, order: str) -> pd.DataFrame:
    """The rows of a site, in order: few sites have a record, so that no other's rows are sorted."""
    return table[table["site_id"].astype(str).eq(site_id)].sort_values(order)


def _visits(visits: pd.DataFrame) -> dict[str, Any]:
    if not len(visits):
        return {"headings": list(VISITS), "rows": [], "note": say("audit_extra.no_visits")}
    rows = visit_rows(visits)
    more = len(rows) - MOST_VISITS
    note = say("audit_extra.more_visits", n_visits=more) if more > 0 else ""
    return {"headings": list(VISITS), "rows": rows[-MOST_VISITS:], "note": note}


def _drawing(case, passes: list[LadderPass], steps: pd.DataFrame, instruments: pd.DataFrame) -> dict[str, Any]:
    """Depths in mm: the floor, the planned rungs, each drill pass; empty where nothing was drilled or planned."""
    role = dict(zip(instruments["instrument_id"].astype(str), instruments["role"].astype(str), strict=True))
    drilled = [
        {
            "no": int(step["step_no"]),
            "depth": max(float(step["depth_mm"]), 0.0),
            "gauge": role.get(str(step["instrument_id"])) == "gauge",
            "open": str(step["finding"]) == "open",
        }
        for _, step in steps.iterrows()
        if not missing(step["depth_mm"])
    ][: 2 * MOST_PASSES]
    floor = [case["rbh_min_mm"], case["rbh_max_mm"]]
    if any(map(missing, floor)) or not (drilled or passes):
        return {"passes": []}
    rungs = sorted({step.depth_mm for step in passes if not step.gauge and not step.opens})
    deepest = max([*map(float, floor), *rungs, *(step["depth"] for step in drilled)])
    return {
        "alt": say("audit_extra.drawing_alt"),
        "floor": [float(height) for height in floor],
        "rungs": rungs,
        "passes": drilled,
        "deepest": math.ceil(deepest + 0.5),
    }


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
