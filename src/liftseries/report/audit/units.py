"""The units of an audit as its chapters read them: one record a unit, from the rows of the funnel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import MINUS, decimal, missing, percent
from liftseries.report.kit.sentences import small
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

FUNNEL, CUSUM, INDICATOR, SERIES = "audit.funnel", "audit.cusum", "audit.indicator", "audit.series"
CLUSTERED, BINOMIAL, CASE_MIX = "clustered", "binomial", "case_mix"
VIEWS = (CLUSTERED, BINOMIAL, CASE_MIX)
NO_RATE_BELOW = 10  # sites of a unit; the contract, section 5
ALARM = 2
PER_100 = 100.0
LONG_YEARS = 20.0
PLURALS = ("operator", "centre")


@dataclass(frozen=True)
class Unit:
    """A unit in the three views.

    Attributes
    ----------
    name : its level
    n_sites, n_patients, n_events : of the clustered view
    terms : view -> term -> row of results.csv
    """

    name: str
    n_sites: int
    n_patients: int
    n_events: int
    terms: Mapping[str, Mapping[str, pd.Series]]

    def value(self, term: str, view: str = CLUSTERED) -> float:
        """An estimate; NaN where there is none."""
        row = self.terms.get(view, {}).get(term)
        return math.nan if row is None or missing(row["estimate"]) else float(row["estimate"])

    def flag(self, view: str = CLUSTERED) -> int:
        """-2 to 2; 0 where the view is not told."""
        found = self.value("flag", view)
        return 0 if math.isnan(found) else int(found)

    def is_told(self, view: str) -> bool:
        """Whether the view was worked out."""
        return not math.isnan(self.value("flag", view))

    @property
    def stands(self) -> bool:
        """Whether all three views give a flag of that height and side."""
        flag = self.flag()
        return flag != 0 and all(
            self.is_told(view) and self.flag(view) * flag > 0 and abs(self.flag(view)) >= abs(flag) for view in VIEWS
        )

    @property
    def has_rate(self) -> bool:
        """Whether its rate is told at all."""
        return self.n_sites >= NO_RATE_BELOW and not math.isnan(self.value("rate"))

    @property
    def can_be_cleared(self) -> bool:
        """Whether it has the sites from which on a unit at twice the odds would be flagged."""
        needed = self.value("needed_sites")
        return not math.isnan(needed) and self.n_sites >= needed


@lru_cache(maxsize=1)
def units(material: Material) -> tuple[Unit, ...]:
    """The units, in the order of results.csv."""
    return units_in(material.rows(FUNNEL))


def units_in(rows: pd.DataFrame) -> tuple[Unit, ...]:
    """The units of these rows of the funnel."""
    found: dict[str, dict[str, dict[str, pd.Series]]] = {}
    for _, row in rows[rows["subset"].ne("all")].iterrows():
        views = found.setdefault(str(row["subset"]).partition("=")[2], {})
        views.setdefault(str(row["method"]), {})[str(row["term"])] = row
    return tuple(_unit(name, views) for name, views in found.items())


def _unit(name: str, views: Mapping[str, Mapping[str, pd.Series]]) -> Unit:
    row = next(iter((views.get(CLUSTERED) or next(iter(views.values()))).values()))
    counts = (0 if missing(row[of]) else int(row[of]) for of in ("n_sites", "n_patients", "n_events"))
    return Unit(name, *counts, views)


def levels_of(rows: pd.DataFrame) -> pd.Series:
    """The unit of each row of results.csv: `op01` of the subset `operator=op01`."""
    return rows["subset"].astype(str).map(lambda subset: subset.partition("=")[2])


def of_all(material: Material, term: str, view: str = CLUSTERED) -> float:
    """An estimate of all units together: flags seen, flags expected; NaN where there is none."""
    rows = material.rows(FUNNEL, "all")
    rows = rows[rows["term"].eq(term) & rows["method"].eq(view)]
    return float(rows["estimate"].iloc[0]) if len(rows) and not missing(rows["estimate"].iloc[0]) else math.nan


def why_not(material: Material) -> str:
    """Why units are not judged, in words; empty where they are."""
    rows = material.rows(FUNNEL, "all")
    rows = rows[rows["method"].eq(CLUSTERED)]
    if len(rows) and not missing(rows["estimate"].iloc[0]):
        return ""
    problems = [str(problem) for problem in rows["problem"] if not missing(problem) and problem]
    return material.words.problem(problems[0]) if problems else say("audit.no_unit")


def smallest_cell(material: Material) -> int:
    """Fewest people that a count on page one may stand for."""
    return int(material.plan.get("sharing", {}).get("smallest_cell", 5))


def hidden(n, cell: int) -> bool:
    """Whether a count is too small for page one; none at all is no person's count."""
    return not missing(n) and 0 < int(n) < cell


def counted_out(n, total, cell: int) -> str:
    """`15 of 175`; `fewer than 5 of 29` where the count is small."""
    told = say("audit.fewer_than", n=cell) if hidden(n, cell) else f"{int(n)}"
    return say("audit.of", part=told, whole=f"{int(total)}")


def unit_word(words: Words, by: str) -> str:
    """What a unit is called within a sentence: `operator`."""
    return small(words.column(by))


def n_units(material: Material, n: int) -> str:
    """`14 operators`, or `14 units (protocol)` of a column whose plural nobody told."""
    by = material.asked["audit"]["by"]
    if by in PLURALS:
        return say(f"audit.n_{by}", n=n)
    return say("audit.n_units", n=n, column=unit_word(material.words, by))


def signed(value: float) -> str:
    """A share's change, of 100 sites: `+1.1`, `−5.9`."""
    told = decimal(PER_100 * float(value), 1)
    return told if told.startswith(MINUS) else f"+{told}"


def named(material: Material, name: str) -> str:
    """`operator op01`, or the level alone where it says what it is."""
    return say("audit.unit", column=unit_word(material.words, material.asked["audit"]["by"]), name=name)


def flag_words(flag: int) -> str:
    """`alarm, high`; `none`."""
    return say(f"audit.flag_{'none' if not flag else _side(flag)}")


def _side(flag: int) -> str:
    return f"{'alarm' if abs(flag) == ALARM else 'alert'}_{'high' if flag > 0 else 'low'}"


def per_100(share: float) -> str:
    """A share as so many of 100."""
    if missing(share):
        return ""
    value = PER_100 * share
    return say("audit.below_tenth") if 0 < value < 0.05 else decimal(value, 1)


def years_words(years: float) -> str:
    """`10 years`; `over 20 years`."""
    if missing(years):
        return ""
    if years > LONG_YEARS:
        return say("audit.many_years", n=int(LONG_YEARS))
    return say("audit.years", n=max(1, math.ceil(years))) if years > 0 else ""


def rate_words(unit: Unit) -> str:
    """`20.7% (7.0% to 47.5%)`; why there is none."""
    if not unit.n_sites:
        return say("audit.no_site")
    if not unit.has_rate:
        return say("audit.no_rate", n=NO_RATE_BELOW)
    row = unit.terms[CLUSTERED]["rate"]
    return say(
        "audit.with_interval",
        value=percent(row["estimate"]),
        low=percent(row["conf_low"]),
        high=percent(row["conf_high"]),
    )


@lru_cache(maxsize=8)
def month_named(month: str) -> str:
    """`December 2025` for `2025-12`."""
    year, _, number = month.partition("-")
    return f"{say('series.months').split(', ')[int(number[:2]) - 1]} {year}" if number else year
