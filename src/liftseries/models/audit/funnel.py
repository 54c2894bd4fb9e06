"""Funnels: how each unit's count of tears lies to what is expected of a unit of its make-up.

Three views, in `method`: `clustered` (patients' sites are alike), `binomial` (sites independent), `case_mix` (as
clustered, each patient with the risk that its sites have at the others').
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clustered_count import count_distribution, tails
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.proportion import wilson
from liftseries.models.audit.case_mix import CaseMix
from liftseries.models.audit.limits import ALARM, ALERT, Areas, Lies, MakeUp, false_flag, lies, make_up, needed_of
from liftseries.models.audit.units import COUNTS_ONLY, ONE_VIEW, Audited, audited, tail_area
from liftseries.models.shared.design import count_reasons
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

FUNNEL, SERIES = "audit.funnel", "audit.series"
CLUSTERED, BINOMIAL, CASE_MIX = "clustered", "binomial", "case_mix"
VIEWS = (CLUSTERED, BINOMIAL, CASE_MIX)
SCALES = {
    "rate": "risk",
    "expected": "risk",
    "upper_alert": "risk",
    "upper_alarm": "risk",
    "lower_alert": "risk",
    "lower_alarm": "risk",
    "p_high": "probability",
    "p_low": "probability",
    "flag": "flag",
    "false_flag": "probability",
    "false_alarm_flag": "probability",
}
OF_SIZE = {"needed_sites": "count", "years": "years"}  # by the clustered view
OF_ALL = {
    "expected_flags": "count",
    "any_flag": "probability",
    "flags": "count",
    "expected_alarm_flags": "count",
    "any_alarm_flag": "probability",
    "alarm_flags": "count",
}
NO_RATE_BELOW = 10  # sites of a unit


@dataclass
class Flags:
    """What the units of a view add up to."""

    false: list[float] = field(default_factory=list)
    false_alarm: list[float] = field(default_factory=list)
    seen: list[int] = field(default_factory=list)

    def values(self) -> dict[str, float]:
        """OF_ALL -> value."""
        seen = np.abs(np.array(self.seen, int))
        return {
            "expected_flags": float(np.sum(self.false)),
            "any_flag": float(1 - np.prod(1 - np.array(self.false))),
            "flags": float((seen >= 1).sum()),
            "expected_alarm_flags": float(np.sum(self.false_alarm)),
            "any_alarm_flag": float(1 - np.prod(1 - np.array(self.false_alarm))),
            "alarm_flags": float((seen == 2).sum()),
        }


def fit_audit_funnel(
    cases: pd.DataFrame,
    by: str,
    period: Sequence[int],
    centre: str,
    standard: float | None,
    alert_sd: float,
    alarm_sd: float,
    case_mix: Sequence[str],
    expected: Mapping[str, Mapping],
) -> Estimates:
    """How each unit lies to the others or to the standard, and the whole series to the standard.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by, period, centre, standard, expected : see `audited`
    alert_sd, alarm_sd : standard deviations whose tail areas are those of the limits
    case_mix : terms of the expected risk

    Returns
    -------
    Estimates
        `audit.funnel`: the terms of SCALES in three methods a unit, OF_SIZE in the first; OF_ALL of subset `all`.
        `audit.series`: SCALES of the whole series about the standard.

    Source: Spiegelhalter 2005, doi:10.1002/sim.1970, funnel plots with exact limits; the contract, section 5.
    """
    audit = audited(cases, by, period, centre, standard, expected)
    areas = Areas(tail_area(alert_sd), tail_area(alarm_sd))
    mix = CaseMix(audit, case_mix)
    rows, effects = [], []
    flags = {view: Flags() for view in VIEWS}
    for number in range(len(audit.names)):
        for view in VIEWS:
            told, effect = _unit_rows(audit, mix, number, view, areas, flags[view])
            rows += told
            effects += effect
    rows += [row for view in VIEWS for row in _all_rows(audit, view, flags[view])]
    series, effect = _series_rows(audit, areas)
    left_out = pd.concat([audit.left_out(FUNNEL), _mix_left_out(audit, mix)], ignore_index=True)
    return Estimates(results_table(rows + series), left_out, design_effects=results_table(effects + effect))


def lies_clustered(audit: Audited, areas: Areas) -> pd.DataFrame:
    """Rows of every unit in the clustered view alone, as `fit_audit_funnel` has them."""
    rows = (_unit_rows(audit, None, number, CLUSTERED, areas, Flags())[0] for number in range(len(audit.names)))
    return results_table(row for told in rows for row in told)


def gate_of(audit: Audited, view: str) -> str:
    """Why a view is not told, as a remark; "" where it is."""
    return audit.why_not(COUNTS_ONLY if view == CLUSTERED else ONE_VIEW)


def _unit_rows(
    audit: Audited, mix: CaseMix | None, number: int, view: str, areas: Areas, flags: Flags
) -> tuple[list[dict], list[dict]]:
    """The rows of a unit in one view, and the design effect of its rate; adds to `flags`."""
    subset, members = audit.subset(audit.names[number]), audit.members(number)
    terms = SCALES | (OF_SIZE if view == CLUSTERED else {})
    risks, why = None, gate_of(audit, view) or ("" if members.any() else remark("no_site_in_period"))
    if view == CASE_MIX and not why:
        try:
            risks = mix.risks(number)
            members = members & mix.used
            why = "" if members.any() else remark("no_complete_case_with_perforation")
        except NotFitted as refused:
            why = str(refused)
    fit = Fit(FUNNEL, subset, "", view, **audit.counts(members))
    if why:
        return [fit.row(term, scale=scale, problem=why) for term, scale in terms.items()], []
    expected = np.full(int(members.sum()), audit.p0) if risks is None else risks[members]
    of = make_up(audit.patient[members], expected)
    in_control = tails(count_distribution(of.sizes, of.means, audit.correlation))
    judged = tails(count_distribution(of.sizes, of.means, 0.0)) if view == BINOMIAL else in_control
    needed = _needed(audit, of, areas) if len(of.sizes) else None
    found, flag = lies(fit.n_events, judged, areas)
    false = [false_flag(found, in_control, name) for name in (ALERT, ALARM)]
    flags.false.append(false[0])
    flags.false_alarm.append(false[1])
    flags.seen.append(flag)
    state = _state(fit.n_sites, needed)
    rows, effects = _judged_rows(fit, audit, members, expected, found, flag, false, state)
    if view == CLUSTERED:
        rows += _size_rows(fit, needed, audit.table.loc[members])
    return rows, effects


def _needed(audit: Audited, of: MakeUp, areas: Areas) -> int | None:
    """Sites from which on a unit at twice the odds is flagged high at alert with probability 0.8."""
    return needed_of(audit.p0, audit.correlation, max(1, round(float(of.sizes.mean()))), areas.alert)


def _state(n_sites: int, needed: int | None) -> str:
    if n_sites < NO_RATE_BELOW:
        return remark("unit_without_rate")
    return remark("unit_judged" if needed is not None and n_sites >= needed else "unit_not_cleared")


def _judged_rows(
    fit: Fit, audit: Audited, members, expected, found: Lies, flag: int, false: Sequence[float], state: str
) -> tuple[list[dict], list[dict]]:
    """The rows of SCALES."""
    headline = fit.method == CLUSTERED
    n = fit.n_sites
    rate, effects = _rate_row(fit, audit, members, state, headline)

    def row(term: str, value: float, **more) -> dict:
        return fit.row(term, float(value), scale=SCALES[term], headline=headline, **more)

    rows = [rate, row("expected", expected.mean())]
    for name, count in found.limits.items():
        none = fit.row(name, scale=SCALES[name], problem=remark("no_count_so_unlikely"))
        rows.append(none if count is None else row(name, count / n))
    rows += [row("p_high", found.p_high), row("p_low", found.p_low)]
    rows.append(row("flag", flag, p_value=found.p_value, note=state))
    rows += [row("false_flag", false[0]), row("false_alarm_flag", false[1])]
    return rows, effects


def _rate_row(fit: Fit, audit: Audited, members, state: str, headline: bool) -> tuple[dict, list[dict]]:
    """The unit's own rate; none below ten sites."""
    rate = Fit(fit.analysis, fit.subset, "risk", fit.method, fit.n_sites, fit.n_patients, fit.n_events, note=state)
    if fit.n_sites < NO_RATE_BELOW:
        return rate.row("rate", problem=state, note=""), []
    if fit.method == BINOMIAL:
        low, high = wilson(fit.n_events, fit.n_sites)
        interval = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
        return rate.row("rate", fit.n_events / fit.n_sites, **interval), []
    return share_row(rate, "rate", audit.event[members], audit.patient[members], headline)


def _size_rows(fit: Fit, needed: int | None, table: pd.DataFrame) -> list[dict]:
    """How many sites it takes, and how many years more at the unit's pace."""
    if needed is None:
        why = remark("needs_too_many_sites")
        return [fit.row(term, scale=scale, problem=why) for term, scale in OF_SIZE.items()]
    row = fit.row("needed_sites", float(needed), scale=OF_SIZE["needed_sites"], headline=True)
    n_years = table["surgery_year"].nunique() if "surgery_year" in table else 0
    if not n_years:
        return [row, fit.row("years", scale=OF_SIZE["years"], problem=remark("not_recorded"))]
    years = max(0, needed - fit.n_sites) / (fit.n_sites / n_years)
    return [row, fit.row("years", years, scale=OF_SIZE["years"], headline=True)]


def _all_rows(audit: Audited, view: str, flags: Flags) -> Iterator[dict]:
    """How many flags are expected by chance, and how many were seen."""
    everyone = np.ones(len(audit.event), bool)
    fit = Fit(FUNNEL, "all", "", view, **audit.counts(everyone))
    why = gate_of(audit, view) or ("" if flags.seen else remark("no_unit_judged"))
    for term, scale in OF_ALL.items():
        if why:
            yield fit.row(term, scale=scale, problem=why)
        else:
            yield fit.row(term, flags.values()[term], scale=scale, headline=view == CLUSTERED)


def _series_rows(audit: Audited, areas: Areas) -> tuple[list[dict], list[dict]]:
    """How the whole series lies to the standard."""
    everyone = np.ones(len(audit.event), bool)
    rows, effects = [], []
    for view in (CLUSTERED, BINOMIAL):
        fit = Fit(SERIES, "all", "", view, **audit.counts(everyone))
        why = _why_not_series(audit, view)
        if why:
            rows += [fit.row(term, scale=scale, problem=why) for term, scale in SCALES.items()]
            continue
        expected = np.full(len(everyone), audit.standard)
        of = make_up(audit.patient, expected)
        in_control = tails(count_distribution(of.sizes, of.means, audit.correlation))
        judged = tails(count_distribution(of.sizes, of.means, 0.0)) if view == BINOMIAL else in_control
        found, flag = lies(fit.n_events, judged, areas)
        false = [false_flag(found, in_control, name) for name in (ALERT, ALARM)]
        needed = needed_of(audit.standard, audit.correlation, max(1, round(float(of.sizes.mean()))), areas.alert)
        state = _state(fit.n_sites, needed)
        told, effect = _judged_rows(fit, audit, everyone, expected, found, flag, false, state)
        rows += told
        effects += effect
    return rows, effects


def _why_not_series(audit: Audited, view: str) -> str:
    if audit.standard is None:
        return remark("no_standard")
    if not len(audit.event):
        return remark("perforation_not_recorded")
    fewest = COUNTS_ONLY if view == CLUSTERED else ONE_VIEW
    return remark("below_gate_audit", n_events=audit.n_events) if audit.n_events < fewest else ""


def _mix_left_out(audit: Audited, mix: CaseMix) -> pd.DataFrame:
    """Sites without their whole case mix, as rows of `Estimates.left_out`; the subset is the view."""
    return left_out_table(FUNNEL, CASE_MIX, count_reasons(mix.design.reasons))
