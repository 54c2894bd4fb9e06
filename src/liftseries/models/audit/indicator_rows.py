"""What an indicator says of each group of sites, and who counted for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clustered_count import correlation_of_patients
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients
from liftseries.models.audit.counting import COUNTED, NOT_APPLICABLE, NOT_DUE, STATES, UNKNOWN, by_patient, counting
from liftseries.models.audit.site_table import Recorded
from liftseries.models.shared.follow_up import with_implant
from liftseries.models.shared.gates import FEWEST_AT_RISK
from liftseries.models.shared.results import Fit, results_table, warned
from liftseries.models.shared.share_rows import share_row
from liftseries.models.survival.corrected import METHOD as CORRECTED
from liftseries.models.survival.km import rows_at
from liftseries.study.indicators import Indicator

ANALYSIS = "audit.indicator"
PATIENTS, COUNTS = "patients", "counted"
SHORTLY_AFTER = 3.0  # months


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


def told_of(
    indicator: Indicator, term, month, recorded: Recorded, groups, period, expected
) -> list[tuple[Told, list[dict]]]:
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
    failure = indicator.counts == "failures"
    implants = recorded.implants[["site_id", "patient_id", "months", "failed"]]
    followed = recorded.cases["site_id"].isin(implants["site_id"]).to_numpy(bool)
    placed, due = with_implant(recorded.cases), recorded.due(month)
    state = np.select([~placed, followed, ~due], [NOT_APPLICABLE, COUNTED, NOT_DUE], UNKNOWN)
    at = pd.Index(recorded.cases["site_id"].astype(object)).get_indexer(implants["site_id"].astype(object))
    found = []
    for subset, members in groups:
        part = implants.loc[(at >= 0) & members[at]]
        rows, effects, _ = rows_at("all", part, [month])
        rows = results_table(warned(rows, effects))
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


def correlation_of(indicator: Indicator, month: float | None, recorded: Recorded) -> float:
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
