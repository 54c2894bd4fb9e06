"""Who stands behind what is told of implants.

| analysis | its numbers are worked out from |
|---|---|
| survival.km, .competing, .rmst, .turnbull, the curves | implants failed by the month |
| survival.life_table | implants entering the year, failed in it, failed before it |
| survival.patient | patients with a first failure by the month |
| the models of terms | see `models.shared.behind` |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import Behind, ByMonth, Counted, behind_estimate
from liftseries.models.shared.behind import Row, behind_model
from liftseries.models.shared.complete_cases import hazard_data
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.follow_up import seen_after_placement
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.population import Population
from liftseries.models.survival.corrected import METHOD as CORRECTED
from liftseries.models.survival.cox import PENALISED
from liftseries.models.survival.firth_cox import FIRST_TERMS, first_terms
from liftseries.models.survival.gain import after_landmark, landmark_terms
from liftseries.models.survival.km import METHOD
from liftseries.models.survival.life_table import INTERVAL_MONTHS
from liftseries.models.survival.patient import first_failures

UNCORRECTED = (METHOD,)
# What those that are worked out by month say, where a few digits leave the number failed open.
SAYS = {"survival.km": "survival", "survival.competing": "failed", "survival.rmst": "months"}
CURVE_COLUMNS = ["subset", "months", "survival", "conf_low", "conf_high"]


# ── estimates by month ──────────────────────────────────────────────────────────────────────────────────────


def by_month(p: Population, row: Row) -> Behind:
    """Kaplan-Meier and its like: a subset's implants, those failed at any time, those failed by the month.

    Beside those that they correct, the corrected ones tell how many patients have a failure by then.
    """
    used = p.followed & p.subset(row.subset)
    still = used & (p.months >= row.month)
    by_then = used & p.failed & (p.months <= row.month)
    bound = _bound_of(p, by_then, still) if row.method == CORRECTED else ()
    parts = (by_then,) if row.method in UNCORRECTED and by_then.any() else ()
    away = (Counted(by_then),)
    behind = behind_estimate(used, used & p.failed, gives_away=away, by_interval=bound, rests_on=(still,), parts=parts)
    says = SAYS.get(row.analysis)
    return replace(behind, by_month=at_month(p, says, row.month, used, still)) if says else behind


def at_month(p: Population, says: str, month: float, used: np.ndarray, still: np.ndarray) -> ByMonth:
    """What an estimate says of those used, of whom some are still at risk at a month."""
    return ByMonth(says, month, used, still, used & p.died & (p.months <= month))


def _bound_of(p: Population, by_then: np.ndarray, still: np.ndarray) -> tuple[Counted, ...]:
    """What a bound gives away, while at most one patient has a failure: the patients failing, and those followed."""
    return () if p.n_patients(by_then) > 1 else (Counted(by_then, "patients"), Counted(still, "patients"))


def months_apart(p: Population, row: Row) -> Behind:
    """A difference in months in function between a level and the reference of its column."""
    column = row.subset.partition("=")[0]
    reference = reference_among(column, as_levels(p.cases[column])[p.followed])
    pair = [p.followed & p.subset(subset) for subset in (row.subset, f"{column}={reference}")]
    both = pair[0] | pair[1]
    away = tuple(Counted(group & p.failed & (p.months <= row.month)) for group in pair)
    still = tuple(group & (p.months >= row.month) for group in pair)
    return behind_estimate(both, both & p.failed, gives_away=away, rests_on=still)


def life_table(p: Population, row: Row) -> Behind:
    """Implants that enter a year, and those that fail in it."""
    entering = p.followed & (p.months >= row.month)
    within = entering & p.failed & (p.months < row.month + INTERVAL_MONTHS)
    behind = behind_estimate(entering, within, gives_away=(_failed_before(p, row.month),))
    return replace(behind, by_month=at_month(p, "life table", row.month, p.followed, entering))


def between_visits(p: Population, row: Row) -> Behind:
    """Turnbull: implants of which a visit told anything after placement."""
    told = p.of_implants(seen_after_placement(p.implants))
    by_then, still = told & p.failed & (p.months <= row.month), told & (p.months >= row.month)
    return behind_estimate(told, told & p.failed, gives_away=(Counted(by_then),), rests_on=(still,))


def first_failure(p: Population, row: Row) -> Behind:
    """Patients, and those whose first implant to fall out did so by failing."""
    patients = p.once(("first failures",), lambda: first_failures(p.implants))
    patient_id = p.cases["patient_id"]
    failed = p.followed & patient_id.isin(patients.index[patients["failed"]]).to_numpy(bool)
    months = patient_id.astype(object).map(patients["months"]).to_numpy(float)
    by_then = Counted(failed & (months <= row.month), "patients")
    still = p.followed & (months >= row.month)
    return behind_estimate(p.followed, failed, event_unit="patients", gives_away=(by_then,), rests_on=(still,))


# ── models ──────────────────────────────────────────────────────────────────────────────────────────────────


def hazards(p: Population, row: Row) -> Behind:
    """Complete cases of the plan's terms, or of its first ones, among all implants followed.

    An E-value names the analysis alone, and is that of the quoted row.
    """
    evalue = not row.method and row.analysis == PENALISED
    if row.method == FIRST_TERMS or (evalue and row.term.partition("[")[0] in _first_terms(p)):
        return _of_first_terms(p, row, p.implants, p.plan["survival_terms"])
    return _model(p, row, _hazard_cases, p.plan["survival_terms"])


def interval(p: Population, row: Row) -> Behind:
    """The same among the implants of which a visit told anything after placement."""
    return _model(p, row, _interval_cases, p.plan["survival_terms"])


def interval_curve(p: Population, row: Row) -> Behind:
    """The same; survival at a month rests on those followed until then, too."""
    return _model(p, row, _interval_cases, p.plan["survival_terms"], row.month)


def landmark(p: Population, row: Row) -> Behind:
    """Complete cases among the implants followed after the landmark."""
    terms = landmark_terms(p.plan["survival_terms"])
    if row.method == FIRST_TERMS:
        return _of_first_terms(p, row, after_landmark(p.implants, p.gains, p.plan["landmark_months"]), terms)
    return _model(p, row, _landmark_cases, terms)


def imputed(p: Population, row: Row) -> Behind:
    """All implants followed, whatever is missing."""
    return behind_model(p, p.followed, p.followed & p.failed, p.plan["survival_terms"], row.term)


def _model(p: Population, row: Row, cases: Callable, terms: Sequence[str], month: float | None = None) -> Behind:
    used = cases(p)[0]
    still = () if month is None else (used & (p.months >= month),)
    return behind_model(p, used, used & p.failed, terms, row.term, rests_on=still)


def _first_terms(p: Population) -> Sequence[str]:
    return p.once(("first terms",), lambda: first_terms(p.implants, p.plan["survival_terms"]))


def _of_first_terms(p: Population, row: Row, implants: pd.DataFrame, terms: Sequence[str]) -> Behind:
    fewer = first_terms(implants, terms)
    used = _complete_cases(p, implants, fewer)[0]
    return behind_model(p, used, used & p.failed, fewer, row.term)


def _hazard_cases(p: Population) -> tuple[np.ndarray, np.ndarray]:
    return p.once(("hazard",), lambda: _complete_cases(p, p.implants, p.plan["survival_terms"]))


def _interval_cases(p: Population) -> tuple[np.ndarray, np.ndarray]:
    def work_out():
        told = p.implants.loc[seen_after_placement(p.implants)]
        return _complete_cases(p, told, p.plan["survival_terms"])

    return p.once(("interval",), work_out)


def _landmark_cases(p: Population) -> tuple[np.ndarray, np.ndarray]:
    def work_out():
        after = after_landmark(p.implants, p.gains, p.plan["landmark_months"])
        return _complete_cases(p, after, landmark_terms(p.plan["survival_terms"]))

    return p.once(("landmark",), work_out)


def _complete_cases(p: Population, implants: pd.DataFrame, terms: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Sites used, and why another of these implants is not ("" elsewhere); both of shape (n_sites,)."""
    design = hazard_data(implants, terms).design
    site_id = implants["site_id"]
    return p.by_site(site_id, design.used, False), p.by_site(site_id, design.reasons, "")


# ── tables ──────────────────────────────────────────────────────────────────────────────────────────────────


def at_risk(p: Population, row) -> Behind:
    """Implants still followed at a month."""
    part = p.followed & p.subset(row.subset)
    still = part & (p.months >= row.months)
    return Behind({"n_at_risk": Counted(still)}, group=part, seen_in=_beside(row.subset))


def at_planned_months(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """The numbers at risk at the start and at the months of the plan: of each further month a failure would be told.

    Those failed before a month stay in the house: beside survival, which counts those of the month itself, they would
    tell how many failed in it.
    """
    results, at_risk = tables["results"], tables["survival_at_risk"]
    planned = pd.to_numeric(results.loc[results["analysis"].eq("survival.km"), "term"]).unique()
    told = at_risk.loc[at_risk["months"].isin([0, *planned])].reset_index(drop=True)
    return told.assign(n_failed=np.nan, n_censored=np.nan)


def curves_at_months(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Each subset's survival curve at each month of the table of numbers at risk.

    A curve steps at every failure, so each step is a record. At a month of the plan it is the estimate of results.csv,
    worked out from those who failed by that month: so the curve needs no count of its own.
    """
    curves, months_told = tables["survival_curves"], at_planned_months(tables)[["subset", "months"]]
    rows = []
    for subset, months in months_told.itertuples(index=False):
        curve = curves.loc[curves["subset"].eq(subset)].sort_values("months")
        if curve.empty or months > curve["months"].iloc[-1]:
            continue  # too few are at risk
        steps = curve.loc[curve["months"].le(months)]
        told = steps[CURVE_COLUMNS[2:]].iloc[-1].tolist() if len(steps) else [1.0, float("nan"), float("nan")]
        rows.append((subset, months, *told))
    return pd.DataFrame(rows, columns=CURVE_COLUMNS)


def curve(p: Population, row) -> Behind:
    """Who failed by a month, and who was still followed."""
    part = p.followed & p.subset(row.subset)
    failed = part & p.failed & (p.months <= row.months)
    still = part & (p.months >= row.months)
    return Behind(
        gives_away=(Counted(failed),),
        by_interval=_bound_of(p, failed, still),
        rests_on=(still,),
        group=part,
        seen_in=_beside(row.subset),
        by_month=at_month(p, "survival", row.months, part, still),
    )


def _failed_before(p: Population, month: float) -> Counted:
    return Counted(p.followed & p.failed & (p.months < month))


def _beside(subset: str) -> tuple[str, ...]:
    return ("survival",) if subset == "all" else (f"survival by {subset.partition('=')[0]}",)
