"""The ledger of results.csv: which sites stand behind each estimate, and which counts it gives away.

| analysis | its numbers are worked out from |
|---|---|
| perforation.rate, sensitivity.detection | sites known and sites perforated: exact functions of the two |
| perforation.rate, one-sided | sites known and their patients |
| sensitivity.detection_contrast | the same, of both levels compared |
| survival.km, .competing, .rmst, .turnbull, sensitivity.lost_implants | implants failed by the month |
| survival.life_table | implants entering the year, failed in it, failed before it |
| survival.patient | patients with a first failure by the month |
| models of one term with levels | each level's sites, with an event and without: as many numbers as cells |
| other models of terms: coefficients | no count exactly; they rest on each level's sites, with an event and without |
| the same: intercepts, risks and curves, validation | nearly the number of events |

How many are at risk moves a survival estimate too little to be read off a rounded one; it must be at least as many
patients as the smallest cell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.models.shared.complete_cases import hazard_data, perforation_data
from liftseries.models.shared.design import reference_level
from liftseries.models.shared.follow_up import failure_intervals
from liftseries.models.shared.levels import as_levels, is_number, levels_present
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.ledger import Ledger, Unit
from liftseries.release.population import Population

RESULTS = "results"
ABOUT_SURVIVAL = ("sensitivity.lost_implants", "sensitivity.tipping_point")
ABOUT_PERFORATION = ("sensitivity.detection", "sensitivity.detection_contrast")
EXPOSURES = {"perforation.risk": "rbh_mid_mm", "perforation.risk_lift": "protrusion_mm"}


@dataclass(frozen=True)
class Behind:
    """Who stands behind a row.

    Attributes
    ----------
    sites : n_sites counts them, n_patients their patients
    events : n_events counts them; None where nothing is an event
    event_unit : what n_events counts
    gives_away : sets that its numbers are exact functions of, each with its unit
    rests_on : groups that its numbers rest on
    recorded : whether `sites` says only of whom something was recorded
    """

    sites: np.ndarray
    events: np.ndarray | None = None
    event_unit: Unit = "sites"
    gives_away: tuple[tuple[np.ndarray, Unit], ...] = ()
    rests_on: tuple[np.ndarray, ...] = ()
    recorded: bool = False


@dataclass(frozen=True)
class Row:
    """What tells whom a row of results.csv counts; a design effect or an E-value stands for the row that it is of."""

    analysis: str
    subset: str
    term: str
    method: str

    @property
    def month(self) -> float:
        """The term of a row by month."""
        return float(self.term)


def enter_results(ledger: Ledger, results: pd.DataFrame) -> None:
    """Enters every row of results.csv that it knows."""
    who = Who(ledger.population)
    tables = Tables(results)
    for position, row in enumerate(results.itertuples(index=False)):
        behind = who.behind(_row(row))
        if behind is None:
            continue
        place, seen_in = (RESULTS, position), tables.of(row)
        ledger.cell(place, "n_sites", seen_in, behind.sites, recorded=behind.recorded)
        ledger.cell(place, "n_patients", seen_in, behind.sites, "patients", recorded=behind.recorded)
        if behind.events is not None:
            ledger.cell(place, "n_events", seen_in, behind.events, behind.event_unit)
        for members, unit in behind.gives_away:
            ledger.gives_away(place, seen_in, members, unit)
        ledger.rests(place, behind.sites)
        for group in behind.rests_on:
            ledger.rests(place, group)


@dataclass(frozen=True)
class Tables:
    """What the rows of results.csv are seen side by side with: an outcome by a column's levels, with its total."""

    results: pd.DataFrame

    @cached_property
    def _columns(self) -> dict[str, list[str]]:
        """Outcome -> the columns by whose levels it is told."""
        found: dict[str, list[str]] = {}
        for analysis, subset in self.results[["analysis", "subset"]].drop_duplicates().itertuples(index=False):
            if "=" in subset:
                columns = found.setdefault(outcome_of(analysis), [])
                columns += [column] if (column := subset.partition("=")[0]) not in columns else []
        return found

    def of(self, row) -> list[str]:
        """A row of `all` is the total of every table of its outcome."""
        outcome = outcome_of(_row(row).analysis)
        if "=" in row.subset:
            return [f"{outcome} by {row.subset.partition('=')[0]}"]
        return [outcome, *(f"{outcome} by {column}" for column in self._columns.get(outcome, ()))]


def outcome_of(analysis: str) -> str:
    """What an analysis is about: those of one outcome count the same events."""
    if analysis in ABOUT_SURVIVAL:
        return "survival"
    if analysis in ABOUT_PERFORATION:
        return "perforation"
    return analysis.partition(".")[0]


def _row(row) -> Row:
    analysis, term, method = row.analysis, str(row.term), str(row.method)
    if analysis == DESIGN_EFFECT or (analysis == "sensitivity.evalue" and " " in term):
        analysis, _, term = term.partition(" ")
        method = "jackknife" if analysis in ("perforation.firth", "survival.firth_cox") else ""
    return Row(analysis, row.subset, term, method)


@dataclass
class Who:
    """Finds who stands behind a row; what several rows need is worked out once."""

    population: Population
    _models: dict = field(default_factory=dict)

    def behind(self, row: Row) -> Behind | None:
        """None for a row of an analysis that is not known here: it is then withheld."""
        found = BEHIND.get(row.analysis)
        return found(self, row) if found else None

    def model(self, kind: str, terms: Iterable[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Sites used, why the others of the model's table are not, and which sites are in that table."""
        key = (kind, *terms)
        if key not in self._models:
            p = self.population
            if kind == "perforation":
                data = perforation_data(p.cases, list(terms))
                used = np.isin(np.arange(p.n_sites), data.table.index)
                reasons = np.full(p.n_sites, "", object)
                reasons[p.perforation_known] = data.design.reasons
                table = p.perforation_known
            else:
                told = np.ones(len(p.implants), bool)
                if kind == "interval":
                    left, right = failure_intervals(p.implants)
                    told = (left > 0) | np.isfinite(right)
                implants, table = p.implants.loc[told], p.of_implants(told)
                if kind == "landmark":
                    implants, table = self.after_landmark()
                design = hazard_data(implants, list(terms)).design
                at = np.flatnonzero(table)
                order = pd.Series(np.arange(len(implants)), index=implants["site_id"].astype(object))
                order = order.loc[p.cases["site_id"].astype(object).iloc[at]].to_numpy(int)
                used, reasons = np.zeros(p.n_sites, bool), np.full(p.n_sites, "", object)
                used[at], reasons[at] = design.used[order], design.reasons[order]
            self._models[key] = used, reasons, table
        return self._models[key]

    def after_landmark(self) -> tuple[pd.DataFrame, np.ndarray]:
        """Implants still followed after the landmark, with the gain by then; and their sites."""
        p, landmark = self.population, self.population.plan.landmark_months
        gains = gain_at_visits(p.visits, p.cases)
        by_then = gains.loc[gains["months"] <= landmark].sort_values("months", kind="stable")
        gain_mm = by_then.groupby("site_id")["gain_mm"].last()
        late = p.implants["months"].to_numpy(float) > landmark
        after = p.implants.loc[late].copy()
        after["gain_mm"] = after["site_id"].astype(object).map(gain_mm).astype(float)
        return after, p.of_implants(late)

    def groups(self, used: np.ndarray, events: np.ndarray | None, terms: Iterable[str], term: str) -> tuple:
        """What a coefficient rests on: the events and the rest; of a level, its own and the reference's.

        A small level beside the one asked for is in the model too; but its share of another coefficient cannot be read
        off it, so that only a level's own row rests on it. The reference is part of every row of its column.
        """
        parts = [used] if events is None else [used & events, used & ~events]
        found = list(parts)
        column, _, level = term.partition("[")
        if level and column in terms and column in self.population.cases:
            levels = as_levels(self.population.cases[column])
            mine = np.asarray(levels == level.removesuffix("]"))
            known = levels.codes >= 0
            named = [one for one in levels.categories if f"{column}[{one}]" != term]
            reference = known & ~np.isin(np.asarray(levels.astype(object)), named) & ~mine
            others = known & ~mine
            found += [part & group for part in parts for group in (mine, others, reference) if group.any()]
        return tuple(found)

    def given_away(self, used: np.ndarray, events: np.ndarray, terms: Iterable[str], term: str) -> tuple:
        """What a model's row gives away: an intercept, a risk or a curve says how many events there were, nearly."""
        of_a_term = term in terms or "[" in term
        return self.cells(used, events, terms) + (() if of_a_term else ((events, "sites"),))

    def cells(self, used: np.ndarray, events: np.ndarray | None, terms: Iterable[str]) -> tuple:
        """What a saturated model gives away: of its only term every level's sites, those with an event, those without.

        A model with as many coefficients as cells returns each cell's share as it was. None of its rows stays where
        one of these counts goes, since the rows of the other levels and the reference's make up the rest.
        """
        (term, *others), cases = [*terms] or [""], self.population.cases
        if others or term not in cases or is_number(cases[term]):
            return ()
        levels = as_levels(cases[term])
        groups = [used & np.asarray(levels == level) for level in levels.categories]
        parts = [(group, "sites") for group in groups if group.any()]
        if events is not None:
            parts += [(group & part, "sites") for group, _ in parts for part in (events, ~events)]
        return tuple(parts)


def _reference(column: str, levels, among: np.ndarray) -> str:
    """The level that the others of a column are compared with: its reference, or the first that occurs."""
    present = levels_present(levels[among])
    named = reference_level(column, levels)
    return named if named in present else present[0]


def _rate(who: Who, row: Row) -> Behind:
    p = who.population
    used = p.subset(row.subset) & p.perforation_known
    events = used & p.perforated
    one_sided = row.method.startswith("one_sided")
    return Behind(
        used,
        events,
        gives_away=((used, "sites"), (events, "sites"), *([(used, "patients")] if one_sided else [])),
        recorded=True,
    )


def _detection_contrast(who: Who, row: Row) -> Behind:
    """`approach[guided] 1/0.8`, against the level that `method` names."""
    p = who.population
    column, _, level = row.term.rpartition(" ")[0].partition("[")
    levels = as_levels(p.cases[column]) if column in p.cases else None
    reference = row.method.rpartition(f"{column} against ")[2].partition(";")[0]
    if levels is None or reference not in levels.categories:
        reference = _reference(column, levels, p.perforation_known)  # a design effect does not name it
    groups = [np.asarray(levels == one) & p.perforation_known for one in (reference, level.removesuffix("]"))]
    used = groups[0] | groups[1]
    counted = [*groups, *(group & p.perforated for group in groups)]
    return Behind(used, used & p.perforated, gives_away=tuple((group, "sites") for group in counted))


def _perforation_model(terms_of: Callable[[Who, Row], Iterable[str]]) -> Callable[[Who, Row], Behind]:
    def behind(who: Who, row: Row) -> Behind:
        terms = list(terms_of(who, row))
        used, _, _ = who.model("perforation", terms)
        used = used & who.population.subset(row.subset) if row.analysis == "perforation.validation" else used
        events = used & who.population.perforated
        away = who.given_away(used, events, terms, row.term)
        return Behind(used, events, gives_away=away, rests_on=who.groups(used, events, terms, row.term), recorded=True)

    return behind


def _terms(who: Who, row: Row) -> Iterable[str]:
    return who.population.plan.perforation_terms


def _along(exposure: str, who: Who) -> list[str]:
    terms = who.population.plan.perforation_terms
    return [exposure, *(term for term in terms if term != exposure)]


def _along_exposure(who: Who, row: Row) -> Iterable[str]:
    return _along(EXPOSURES[row.analysis], who)


def _bend(who: Who, row: Row) -> Iterable[str]:
    return _along(row.term, who)


def _band(who: Who, row: Row) -> Iterable[str]:
    terms = who.population.plan.perforation_terms
    return ["rbh_band", *(term for term in terms if term != "rbh_mid_mm")]


def _difference(who: Who, row: Row) -> Iterable[str]:
    column = row.term.partition(":")[0]
    return _along(column, who) if column in EXPOSURES.values() else _terms(who, row)


def _imputed_perforation(who: Who, row: Row) -> Behind:
    p = who.population
    known, events = p.perforation_known, p.perforated
    terms = p.plan.perforation_terms
    away = who.given_away(known, events, terms, row.term)
    return Behind(known, events, gives_away=away, rests_on=who.groups(known, events, terms, row.term), recorded=True)


def _by_month(who: Who, row: Row) -> Behind:
    """Kaplan-Meier and its like: a subset's implants, those failed at any time, those failed by the month."""
    p = who.population
    used = p.followed & p.subset(row.subset)
    still = used & (p.months >= row.month)
    by_then = used & p.failed & (p.months <= row.month)
    one_sided = row.method.startswith("one_sided")
    away = [(by_then, "sites"), *([(still, "sites"), (still, "patients")] if one_sided else [])]
    return Behind(used, used & p.failed, gives_away=tuple(away), rests_on=(still,))


def _months_apart(who: Who, row: Row) -> Behind:
    """A difference in months in function between a level and the reference of its column."""
    p = who.population
    column = row.subset.partition("=")[0]
    mine = p.followed & p.subset(row.subset)
    reference = p.followed & p.subset(f"{column}={_reference(column, as_levels(p.cases[column]), p.followed)}")
    both = mine | reference
    away = [(group & p.failed & (p.months <= row.month), "sites") for group in (mine, reference)]
    still = tuple(group & (p.months >= row.month) for group in (mine, reference))
    return Behind(both, both & p.failed, gives_away=tuple(away), rests_on=still)


def _life_table(who: Who, row: Row) -> Behind:
    p = who.population
    entering = p.followed & (p.months >= row.month)
    within = entering & p.failed & (p.months < row.month + 12)
    before = p.followed & p.failed & (p.months < row.month)
    return Behind(entering, within, gives_away=((before, "sites"),))


def _hazard_model(kind: str) -> Callable[[Who, Row], Behind]:
    def behind(who: Who, row: Row) -> Behind:
        p = who.population
        terms = list(p.plan.survival_terms)
        if kind == "landmark":
            terms = ["gain_mm", *(term for term in terms if term != "gain_mm")]
        used, _, _ = who.model(kind, terms)
        events = used & p.failed
        away = who.given_away(used, events, terms, row.term)
        rests_on = who.groups(used, events, terms, row.term)
        if row.analysis == "survival.interval_curve":
            rests_on += (used & (p.months >= row.month),)
        return Behind(used, events, gives_away=away, rests_on=rests_on)

    return behind


def _imputed_survival(who: Who, row: Row) -> Behind:
    p = who.population
    events = p.followed & p.failed
    terms = p.plan.survival_terms
    away = who.given_away(p.followed, events, terms, row.term)
    return Behind(p.followed, events, gives_away=away, rests_on=who.groups(p.followed, events, terms, row.term))


def _between_visits(who: Who, row: Row) -> Behind:
    """Turnbull: implants of which a visit told anything after placement."""
    p = who.population
    left, right = failure_intervals(p.implants)
    told = p.of_implants((left > 0) | np.isfinite(right))
    by_then = told & p.failed & (p.months <= row.month)
    return Behind(told, told & p.failed, gives_away=((by_then, "sites"),), rests_on=(told & (p.months >= row.month),))


def first_failures(p: Population) -> tuple[np.ndarray, np.ndarray]:
    """Sites of patients whose first implant to fall out did so by failing, and when that was, shape (n_sites,)."""
    months = pd.Series(np.where(p.followed, p.months, np.inf)).groupby(p.patients).transform("min").to_numpy(float)
    failed_at = np.where(p.followed & p.failed, p.months, np.inf)
    failed_at = pd.Series(failed_at).groupby(p.patients).transform("min").to_numpy(float)
    return p.followed & np.isfinite(failed_at) & (failed_at == months), months


def _first_failure(who: Who, row: Row) -> Behind:
    p = who.population
    failed, months = first_failures(p)
    by_then = failed & (months <= row.month)
    still = p.followed & (months >= row.month)
    away = ((by_then, "patients"),)
    return Behind(p.followed, failed, "patients", gives_away=away, rests_on=(still,))


def gain_sites(p: Population, terms: Iterable[str] | None) -> np.ndarray:
    """Sites with a bone gain at a visit, and all terms known there."""
    gains = gain_at_visits(p.visits, p.cases)
    if terms is not None:
        for term in terms:
            if term in gains:
                known = (
                    gains[term].notna().to_numpy(bool) if is_number(gains[term]) else as_levels(gains[term]).codes >= 0
                )
                gains = gains.loc[known]
    return p.where_sites(gains["site_id"])


def _gain_model(who: Who, row: Row) -> Behind:
    p = who.population
    used = gain_sites(p, p.plan.gain_terms)
    terms = p.plan.gain_terms
    away = who.cells(used, None, terms)
    return Behind(used, gives_away=away, rests_on=who.groups(used, None, terms, row.term))


def _alike(who: Who, row: Row) -> Behind:
    p = who.population
    if row.term == "perforation":
        events = p.perforated
        return Behind(p.perforation_known, events, rests_on=(events, p.perforation_known & ~events), recorded=True)
    if row.term == "gain_mm":
        return Behind(gain_sites(p, None))
    if row.term == "last_error_mm":
        return _depth(who, row)
    return Behind(p.cases[row.term].notna().to_numpy(bool), recorded=True)


def _depth(who: Who, row: Row) -> Behind:
    cases = who.population.cases
    known = cases["achieved_last_mm"].notna() & cases["planned_last_mm"].notna()
    return Behind(known.to_numpy(bool), recorded=True)


def _lost(who: Who, row: Row) -> Behind:
    p = who.population
    by_then = p.followed & p.failed & (p.months <= row.month)
    lost = p.followed & ~p.failed & ~p.died & (p.months < row.month)
    worst = row.method.startswith("worst")
    events = by_then | lost if worst else by_then
    away = [(by_then, "sites")]
    if worst or row.analysis == "sensitivity.tipping_point":
        away.append((lost, "sites"))
    return Behind(p.followed, events, gives_away=tuple(away), rests_on=(p.followed & (p.months >= row.month),))


BEHIND: dict[str, Callable[[Who, Row], Behind]] = {
    "perforation.rate": _rate,
    "sensitivity.detection": _rate,
    "sensitivity.detection_contrast": _detection_contrast,
    "perforation.gee": _perforation_model(_terms),
    "perforation.firth": _perforation_model(_terms),
    "perforation.validation": _perforation_model(_terms),
    "perforation.imputed": _imputed_perforation,
    "perforation.risk": _perforation_model(_along_exposure),
    "perforation.risk_lift": _perforation_model(_along_exposure),
    "perforation.nonlinearity": _perforation_model(_bend),
    "perforation.risk_band": _perforation_model(_band),
    "perforation.risk_difference": _perforation_model(_difference),
    "survival.km": _by_month,
    "survival.competing": _by_month,
    "survival.rmst": _by_month,
    "survival.rmst_difference": _months_apart,
    "survival.life_table": _life_table,
    "survival.cox": _hazard_model("hazard"),
    "survival.firth_cox": _hazard_model("hazard"),
    "survival.ph": _hazard_model("hazard"),
    "survival.interval": _hazard_model("interval"),
    "survival.interval_curve": _hazard_model("interval"),
    "survival.imputed": _imputed_survival,
    "survival.turnbull": _between_visits,
    "survival.patient": _first_failure,
    "survival.gain": _hazard_model("landmark"),
    "gain.mixed": _gain_model,
    "measurement.icc": _alike,
    "depth.agreement": _depth,
    "depth.proportional_bias": _depth,
    "sensitivity.lost_implants": _lost,
    "sensitivity.tipping_point": _lost,
}
