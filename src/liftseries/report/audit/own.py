"""Own results: what one unit gets to see, its own figures against the group without names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.shared.levels import as_levels
from liftseries.report.audit.found import EXPECTED, FLAG, RATE, funnel_of, period, years_in_words
from liftseries.report.audit.own_figures import FEWEST_OTHERS, Figure, change_of, figures_of, strength_of
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.audit.units import CLUSTERED
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.words import shortened
from liftseries.report.languages.say import say

NO_RATE, JUDGED = "unit_without_rate", "unit_judged"
NEEDED = "needed_sites"
FLAGS = {2: "alarm", 1: "alert", 0: "none", -1: "low_alert", -2: "low_alarm"}
INDICATORS = ("", "Yours", "All units", "Others", "Standard")
YEARS = ("Year", "Sites", "Torn")


@dataclass(frozen=True)
class OwnResults:
    """The pages of own results of a run.

    Attributes
    ----------
    run
    results : results.csv
    """

    run: RunTables
    results: pd.DataFrame

    @cached_property
    def funnel(self) -> pd.DataFrame:
        """The clustered funnel's rows of units."""
        rows = funnel_of(self.results, self.run)
        return rows[rows["method"].eq(CLUSTERED)]

    @cached_property
    def strips(self) -> pd.DataFrame:
        """The indicators of the units and of all."""
        return self.run.left("audit_indicator_strips")

    @property
    def units(self) -> list[str]:
        """The units, in order."""
        return list(dict.fromkeys(self.funnel["unit"]))

    def n_others(self, unit: str) -> int:
        """Other units with a site in the period."""
        rates = self.funnel[self.funnel["term"].eq(RATE) & self.funnel["n_sites"].fillna(0).gt(0)]
        return int(rates["unit"].ne(unit).sum())

    def against_group(self, unit: str) -> bool:
        """Whether the group may be shown: with fewer others a figure of it would be one of few people."""
        return self.n_others(unit) >= FEWEST_OTHERS

    def page(self, unit: str) -> dict[str, Any]:
        """What the page of a unit says, as `reports/sheet.typ` reads it."""
        figures = figures_of(self.strips, unit, self.against_group(unit), self.run.audit)
        closed = self.run.plan["study"]["data_until"] or say("audit_extra.closed_unknown")
        operator = self.run.audit["by"] == "operator"
        return {
            "mark": say("audit_extra.for_person" if operator else "audit_extra.for_lead"),
            "title": say("audit_extra.own_title", unit=shortened(unit)),
            "paper": "a4",
            "flipped": False,
            "size": 9,
            "lines": [
                say("audit_extra.own_period", years=years_in_words(self.run), closed=closed),
                *self._tears(unit),
                *self._strength_and_change(unit, figures),
            ],
            "sections": [self._years(unit), self._indicators(unit, figures)],
            "foot": self.run.audit["policy"]["flag_means"],
        }

    def _tears(self, unit: str) -> Iterator[str]:
        """Rate with its interval, tears expected, flag in words, what no flag means."""
        rows = {row["term"]: row for _, row in self.funnel[self.funnel["unit"].eq(unit)].iterrows()}
        rate, flag = rows.get(RATE), rows.get(FLAG)
        if rate is None or missing(rate["n_sites"]) or not int(rate["n_sites"]):
            yield say("audit_extra.own_none")
            return
        counts = {"n_events": rate["n_events"], "n_sites": rate["n_sites"]}
        told = names_in("" if missing(rate["note"]) else rate["note"])
        if missing(rate["estimate"]) or missing(rate["conf_low"]) or NO_RATE in told:
            yield say("audit_extra.own_count", **counts)
        else:
            names = {"rate": "estimate", "low": "conf_low", "high": "conf_high"}
            yield say("audit_extra.own_rate", **counts, **{hole: 100 * rate[name] for hole, name in names.items()})
        at_standard = self.run.audit["centre"] == "standard"
        if not self.against_group(unit):
            has = at_standard or self._has_standard(unit)
            yield say("audit_extra.own_alone_standard" if has else "audit_extra.own_alone")
            if not at_standard:
                return
        if flag is None or missing(flag["estimate"]):
            return
        at = say("audit_extra.own_at_standard" if at_standard else "audit_extra.own_at_group")
        yield say("audit_extra.own_expected", expected=rows[EXPECTED]["estimate"] * int(rate["n_sites"]), at=at)
        yield say(f"audit_extra.own_flag_{FLAGS[int(flag['estimate'])]}")
        needed = rows.get(NEEDED)
        if JUDGED in names_in(str(flag["note"])):
            yield say("audit_extra.own_cleared")
        elif not int(flag["estimate"]) and needed is not None and not missing(needed["estimate"]):
            yield say("audit_extra.own_not_cleared", needed=int(needed["estimate"]))

    def _has_standard(self, unit: str) -> bool:
        return bool(self.strips.loc[self.strips["unit"].eq(unit), "standard"].notna().any())

    def _strength_and_change(self, unit: str, figures: list[Figure]) -> Iterator[str]:
        """One strength and one change: the figures furthest on the better and on the worse side."""
        if all(figure.other is None for figure in figures):
            to_set = self.against_group(unit) or any(figure.standard for figure in figures)
            yield say("audit_extra.own_too_few" if to_set else "audit_extra.own_nothing_to_set")
            return
        best, worst = strength_of(figures), change_of(figures)
        yield say("audit_extra.own_strength", **best.words()) if best else say("audit_extra.own_no_strength")
        yield say("audit_extra.own_change", **worst.words()) if worst else say("audit_extra.own_no_change")

    def _years(self, unit: str) -> dict[str, Any]:
        """The last two years of surgery up to the period's last: sites of known perforation, and those torn."""
        years = period(self.run)
        last = (years[-1] - 1, years[-1]) if years and self.by_year is not None else ()
        rows = [[str(year), *map(str, self.by_year.get((unit, year), (0, 0)))] for year in last]
        return _section(say("audit_extra.own_years"), YEARS, rows)

    @cached_property
    def by_year(self) -> dict[tuple[str, int], tuple[int, int]] | None:
        """Unit and year of surgery -> sites of known perforation, and those torn; None where no case tells."""
        cases, by = self.run.cases, self.run.audit["by"]
        if by not in cases or "surgery_year" not in cases:
            return None
        torn = cases["perforation"].astype(object).map({"yes": 1, "no": 0})
        places = pd.DataFrame({"unit": as_levels(cases[by]), "year": cases["surgery_year"], "torn": torn})
        counts = places.dropna().groupby(["unit", "year"], observed=True)["torn"].agg(["size", "sum"]).astype(int)
        return {(str(unit), int(year)): (n, n_torn) for (unit, year), n, n_torn in counts.itertuples()}

    def _indicators(self, unit: str, figures: list[Figure]) -> dict[str, Any]:
        shown = [any(getattr(figure, name) for figure in figures) for name in ("spread", "standard")]
        used = [True, True, self.against_group(unit), *shown]
        rows = [[figure.title, figure.own, figure.group, figure.spread, figure.standard] for figure in figures]
        rows = [[cell for cell, keep in zip(row, used, strict=True) if keep] for row in rows]
        heads = [head for head, keep in zip(INDICATORS, used, strict=True) if keep]
        note = say("audit_extra.own_indicators_note") if self.against_group(unit) else ""
        return _section(say("audit_extra.own_indicators"), heads, rows, note)


def _section(title: str, headings, rows: list[list[str]], note: str = "") -> dict[str, Any]:
    return {"title": title, "lines": [], "headings": list(headings), "rows": rows, "note": note}
