"""The indicators of an audit: what each says of the series and of each unit, and how surely.

Definitions are data, schemas/indicators.yaml. *Worse* or *better* is said where the whole interval lies beyond the
standard and there are sites enough; without a standard there is no verdict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clustered_count import correlation_of_patients
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.mean import mean_of_patients
from liftseries.models.audit.counting import COUNTED, NOT_APPLICABLE, NOT_DUE, STATES, UNKNOWN, by_patient, counting
from liftseries.models.audit.funnel import needed_of
from liftseries.models.audit.site_table import Recorded
from liftseries.models.audit.units import in_period, tail_area, unit_names
from liftseries.models.shared.follow_up import with_implant
from liftseries.models.shared.gates import FEWEST_AT_RISK
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row
from liftseries.models.survival.corrected import METHOD as CORRECTED
from liftseries.models.survival.km import fit_survival_km
from liftseries.study.indicators import Indicator, Standard, indicators

ANALYSIS = "audit.indicator"
PATIENTS, COUNTS = "patients", "counted"
FEWEST_PATIENTS, FEWEST_OF_EACH = 10, 5  # without a standard: patients, events and non-events
SHORTLY_AFTER = 3.0  # months
PERFORATION = "perforation"
STRIPS = "unit indicator months counts good counted unknown not_applicable not_due n_events value conf_low conf_high \
standard standard_kind standard_source standard_date verdict enough"


@dataclass(frozen=True)
class IndicatorEstimates(Estimates):
    """The indicators.

    Attributes
    ----------
    strips : STRIPS, a row a unit (`all` among them) and indicator: what the matrix and its strips are drawn from
    """

    strips: pd.DataFrame


@dataclass(frozen=True)
class Told:
    """An indicator of a unit: its row, how surely, and who counted.

    Attributes
    ----------
    row : of results.csv
    n_patients, n_events, n_others : that stand behind it
    states : state -> how many
    """

    row: dict
    n_patients: int
    n_events: int
    n_others: int
    states: Mapping[str, int]


def fit_audit_indicators(
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    by: str,
    period: Sequence[int],
    standard: float | None,
    alert_sd: float,
    expected: Mapping[str, Mapping],
    unrecorded: str,
    names: Sequence[str],
    months: Sequence[float],
    data_until: str,
    depth_tolerance_mm: float,
    step_mm: float,
) -> IndicatorEstimates:
    """Every indicator of the series and of each unit.

    Parameters
    ----------
    cases, implants, visits : of the run
    by, period, expected : see `audited`
    standard : of `perforation`, where its definition has none
    alert_sd : of the limit by which the sites needed are worked out
    unrecorded : how probing counts where a centre's logs tell of none
    names : of the indicators; all where empty
    months : of survival and follow-up
    data_until : the month in which the data were closed, or ""
    depth_tolerance_mm, step_mm : for expressions

    Returns
    -------
    IndicatorEstimates
        Subsets `all` and the units, terms the names, `survival at 12` where there are several months.
    """
    constants = {"depth_tolerance_mm": depth_tolerance_mm, "step_mm": step_mm}
    inside = in_period(cases, period)
    part = cases.loc[inside].reset_index(drop=True)
    followed = implants.loc[implants["site_id"].isin(part["site_id"])].reset_index(drop=True)
    recorded = Recorded(part, followed, visits, _closing(data_until, cases, visits), unrecorded, constants)
    groups = groups_of(part, by, unit_names(cases, by, expected))
    asked = [one for one in indicators() if not names or one.name in names]
    rows, effects, strips = [], [], []
    for indicator in asked:
        held = standard_of(indicator, standard)
        for term, month in indicator.at(months):
            found = _told(indicator, term, month, recorded, groups, period, expected)
            correlation = _correlation(indicator, month, recorded)
            for (subset, _), (told, effect) in zip(groups, found, strict=True):
                row, strip = judged(indicator, held, told, correlation, tail_area(alert_sd))
                unit = "all" if subset == "all" else subset.removeprefix(f"{by}=")
                rows.append(row)
                effects += effect
                strips.append({"unit": unit, "indicator": term, "months": month, **strip})
    left_out = left_out_table(ANALYSIS, "all", [(remark("outside_period"), int((~inside).sum()))])
    return IndicatorEstimates(
        results_table(rows),
        left_out,
        design_effects=results_table(effects),
        strips=pd.DataFrame(strips, columns=STRIPS.split()),
    )


def _closing(data_until: str, cases: pd.DataFrame, visits: pd.DataFrame) -> str:
    """The month of closing as it is written, or as all tables imply it, whatever the period."""
    from liftseries.models.shared.due import closing_month, month_in_words

    return data_until or month_in_words(closing_month("", cases, visits))


def groups_of(cases: pd.DataFrame, by: str, names: Sequence[str]) -> list[tuple[str, np.ndarray]]:
    """Subset -> its sites: `all`, then each unit, also one without a site."""
    levels = as_levels(cases[by]) if by in cases else None
    everyone = np.ones(len(cases), bool)
    units = [(f"{by}={name}", ~everyone if levels is None else np.asarray(levels == name)) for name in names]
    return [("all", everyone), *units]


def standard_of(indicator: Indicator, of_plan: float | None) -> Standard:
    """What an indicator is held to: its own standard, or the plan's for the tear."""
    if indicator.name == PERFORATION and indicator.standard.kind == "none" and of_plan is not None:
        return Standard("committee", float(of_plan), "study.yaml, audit.standard")
    return indicator.standard


# ── what is told ────────────────────────────────────────────────────────────────────────────────────────────


def _told(indicator, term, month, recorded: Recorded, groups, period, expected) -> list[tuple[Told, list[dict]]]:
    """What an indicator says of each group, and its design effects."""
    if indicator.counts in ("implants", "failures"):
        return [(one, []) for one in _lasting(indicator, term, month, recorded, groups)]
    if indicator.counts == "cases":
        return [(one, []) for one in _received(term, recorded, groups, period, expected)]
    found, patient = counting(indicator, month, recorded), recorded.cases["patient_id"].to_numpy()
    say = {"patients": _of_patients, "measurements": _mean}.get(indicator.counts, _share)
    return [say(term, subset, found, patient, members) for subset, members in groups]


def _states(state: np.ndarray) -> dict[str, int]:
    return {name: int((state == name).sum()) for name in STATES}


def _fit(subset: str, scale: str, site: np.ndarray, patient: np.ndarray, n_events: int | None, method=PATIENTS) -> Fit:
    return Fit(ANALYSIS, subset, scale, method, len(np.unique(site)), len(pd.unique(patient)), n_events)


def _share(term: str, subset: str, found, patient: np.ndarray, members: np.ndarray) -> tuple[Told, list[dict]]:
    """A share of sites, or of cells."""
    here = members[found.site]
    used = here & (found.state == COUNTED)
    event, whose = found.event[used], patient[found.site[used]]
    fit = _fit(subset, "risk", found.site[used], whose, int(event.sum()))
    if used.sum() > fit.n_sites:
        fit = replace(fit, note=remark("cells_counted", n_cells=int(used.sum())))
    return _share_told(fit, term, event, whose, _states(found.state[here]))


def _of_patients(term: str, subset: str, found, patient: np.ndarray, members: np.ndarray) -> tuple[Told, list[dict]]:
    """A share of patients."""
    state, event, names = by_patient(found, patient, members)
    used = state == COUNTED
    site = found.site[members & (found.state == COUNTED)]
    fit = Fit(ANALYSIS, subset, "risk", PATIENTS, len(site), int(used.sum()), int(event[used].sum()))
    return _share_told(fit, term, event[used], names[used], _states(state))


def _share_told(fit: Fit, term: str, event: np.ndarray, patient: np.ndarray, states) -> tuple[Told, list[dict]]:
    if not len(event):
        return Told(fit.row(term, problem=remark("no_row_counted")), 0, 0, 0, states), []
    row, effects = share_row(fit, term, event, patient)
    n_events = int(event.sum())
    return Told(row, len(pd.unique(patient)), n_events, len(event) - n_events, states), effects


def _mean(term: str, subset: str, found, patient: np.ndarray, members: np.ndarray) -> tuple[Told, list[dict]]:
    """A mean over the sites measured."""
    used = members & (found.state == COUNTED)
    value, whose = found.value[used], patient[used]
    fit, states = _fit(subset, "mm", found.site[used], whose, None), _states(found.state[members])
    try:
        mean, std_error, df = mean_of_patients(value, whose)
    except NotFitted as why:
        return Told(fit.row(term, problem=str(why)), len(pd.unique(whose)), 0, 0, states), []
    row = replace(fit, df=df).wald_row(term, mean, std_error, p_value=False)
    effects = fit.design_effect_rows([term], [std_error], [max(value.std(ddof=1), 1e-12) / np.sqrt(len(value))])
    return Told(row, len(pd.unique(whose)), len(value), len(value), states), effects


def _lasting(indicator, term: str, month: float, recorded: Recorded, groups) -> list[Told]:
    """Survival at a month, or failure by it, by Kaplan-Meier; unknown are implants of which no visit tells."""
    failure, implants = indicator.counts == "failures", recorded.implants
    followed = recorded.cases["site_id"].isin(implants["site_id"]).to_numpy(bool)
    placed, due = with_implant(recorded.cases), recorded.due(month)
    state = np.select([~placed, followed, ~due], [NOT_APPLICABLE, COUNTED, NOT_DUE], UNKNOWN)
    found = []
    for subset, members in groups:
        part = implants.loc[implants["site_id"].isin(recorded.cases.loc[members, "site_id"])]
        rows = fit_survival_km(part, [month]).rows
        row = rows[rows["method"].eq(CORRECTED)].iloc[0].to_dict() | {"analysis": ANALYSIS, "subset": subset}
        time, failed = part["months"].to_numpy(float), part["failed"].to_numpy(bool)
        n_at_risk, n_failed = int((time >= month).sum()), int((failed & (time <= month)).sum())
        row |= {"term": term, "headline": False, "n_events": n_failed}
        if failure:
            row |= {"estimate": 1 - row["estimate"], "scale": "risk"}
            row |= {"conf_low": 1 - row["conf_high"], "conf_high": 1 - row["conf_low"]}
            late = int((failed & (time > month) & (time <= month + SHORTLY_AFTER)).sum())
            row["note"] = joined(row["note"], remark("found_shortly_after", n_failures=late))
        if n_at_risk < FEWEST_AT_RISK and len(part):
            none = dict.fromkeys(("estimate", "std_error", "conf_low", "conf_high", "conf_level", "df"), np.nan)
            row |= none | {"problem": remark("below_gate_at_risk", n_at_risk=n_at_risk)}
        n_patients = part["patient_id"].nunique()
        found.append(Told(row, n_patients, n_failed, len(part) - n_failed, _states(state[members])))
    return found


def _received(term: str, recorded: Recorded, groups, period, expected: Mapping[str, Mapping]) -> list[Told]:
    """Cases received of those expected; of all, those of the units of which a number was expected."""
    year = np.full(len(recorded.cases), np.nan)
    if "surgery_year" in recorded.cases:
        year = recorded.cases["surgery_year"].to_numpy(float, na_value=np.nan)
    wanted = {
        str(unit): {int(one): int(n) for one, n in years.items() if not period or int(one) in set(period)}
        for unit, years in (expected or {}).items()
    }
    of_unit = {
        subset: (int((members & np.isin(year, list(years))).sum()), sum(years.values()))
        for subset, members in groups[1:]
        if (years := wanted.get(subset.partition("=")[2]))
    }
    found = []
    for subset, members in groups:
        pairs = list(of_unit.values()) if subset == "all" else [of_unit[subset]] if subset in of_unit else []
        n_received, n_expected = (sum(pair[k] for pair in pairs) for k in (0, 1))
        n_patients = recorded.cases.loc[members, "patient_id"].nunique()
        fit = Fit(ANALYSIS, subset, "ratio", COUNTS, int(members.sum()), n_patients)
        states = dict.fromkeys(STATES, 0) | {COUNTED: n_received if n_expected else int(members.sum())}
        if n_expected:
            row = fit.row(term, n_received / n_expected, headline=True)
        else:
            row = fit.row(term, problem=remark("no_number_expected"))
        found.append(Told(row, n_patients, 0, 0, states))
    return found


# ── how surely ──────────────────────────────────────────────────────────────────────────────────────────────


def _correlation(indicator: Indicator, month: float | None, recorded: Recorded) -> float:
    """How alike a patient's sites are in what the indicator counts."""
    if indicator.counts in ("implants", "failures"):
        implants = recorded.implants
        event = implants["failed"].to_numpy(bool) & (implants["months"].to_numpy(float) <= month)
        return correlation_of_patients(event, implants["patient_id"].to_numpy()) if len(event) else 0.0
    if indicator.counts != "sites":
        return 0.0
    found = counting(indicator, month, recorded)
    used = found.state == COUNTED
    if not used.any():
        return 0.0
    return correlation_of_patients(found.event[used], recorded.cases["patient_id"].to_numpy()[used])


def enough(indicator: Indicator, standard: Standard, told: Told, correlation: float, area: float) -> bool:
    """Whether an indicator of a unit can be judged.

    At a standard: from the sites on from which a unit at twice the odds of the worse outcome would be flagged; else
    from ten patients with five events and five others.
    """
    if indicator.counts == "cases":
        return np.isfinite(told.row["estimate"])
    if standard.value is None or indicator.counts == "measurements":
        fewest = min(told.n_events, told.n_others)
        return told.n_patients >= FEWEST_PATIENTS and fewest >= FEWEST_OF_EACH
    worse = standard.value if indicator.good == "low" else 1 - standard.value
    n = told.n_events + told.n_others
    if not 0 < worse < 1 or not told.n_patients:
        return False
    size = max(1, round(n / told.n_patients))
    needed = needed_of(worse, correlation, size, area)
    return needed is not None and n >= needed


def verdict(good: str, standard: float, low: float, high: float) -> str:
    """worse, better or compatible: where the whole interval lies."""
    if not np.isfinite([low, high]).all() or low <= standard <= high:
        return "compatible"
    return "better" if (high < standard) == (good == "low") else "worse"


def judged(indicator: Indicator, standard: Standard, told: Told, correlation: float, area: float) -> tuple[dict, dict]:
    """The row with what it says of the standard, and the row of the strips."""
    row = told.row
    sure = enough(indicator, standard, told, correlation, area) and np.isfinite(row["estimate"])
    said = ""
    limits = row.get("conf_low", np.nan), row.get("conf_high", np.nan)
    if standard.value is not None and sure and np.isfinite(limits).all():
        said = verdict(indicator.good, standard.value, *limits)
    note = remark(f"indicator_{said}") if said else "" if sure else remark("indicator_not_judged")
    if np.isfinite(row["estimate"]):
        row = row | {"note": joined(row["note"], note), "headline": bool(sure and not row["problem"])}
    if np.isfinite(limits).all():
        row["conf_level"] = CONF_LEVEL
    strip = {
        "counts": indicator.counts,
        "good": indicator.good,
        **told.states,
        "n_events": row.get("n_events"),
        "value": row["estimate"],
        "conf_low": limits[0],
        "conf_high": limits[1],
        "standard": np.nan if standard.value is None else standard.value,
        "standard_kind": standard.kind,
        "standard_source": standard.source,
        "standard_date": standard.date,
        "verdict": said,
        "enough": bool(sure),
    }
    return row, strip
