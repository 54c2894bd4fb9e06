"""How long implants were followed, how many failed in that time and when, and which patients bear the failures."""

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.incidence import incidence_of_patients
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.kaplan_meier import KaplanMeier, kaplan_meier, log_log_interval
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import clustered_row

MEDIAN, YEARS, RATE, FAILURES = "followup.median", "followup.implant_years", "followup.rate", "followup.failures"
REVERSE, COUNTED, PATIENTS = "reverse_kaplan_meier", "counted", "patients"
SHARE_STILL_FOLLOWED = {"median": 0.5, "q1": 0.75, "q3": 0.25}  # at that statistic of the follow-up
PER_YEARS = 100.0
EARLY_MONTHS = 12.0  # a failure found up to here is early; our convention, as the month of loading is seldom recorded
HAIR = 1e-9  # a product of fractions that is ½ on paper


def fit_followup_time(implants: pd.DataFrame) -> Estimates:
    """Follow-up in months and years, and the failures in it.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it

    Returns
    -------
    Estimates
        `followup.median`: terms `median`, `q1`, `q3`, scale `months`, by Kaplan-Meier with the ends of follow-up as
        events and failures and deaths as censored; n_events are those ends. `followup.implant_years`: term `sum`.
        `followup.rate`: failures per 100 implant-years. `followup.failures`: terms `all`, `early` (found by month 12),
        `late`, and `patients` who bear them, scale `count`.

    Source: Schemper and Smith 1996, doi:10.1016/0197-2456(96)00075-X; the interval: Brookmeyer and Crowley 1982,
    doi:10.2307/2530286, on the clustered log-log band, as R's `quantile.survfit`.
    """
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    ended = ~failed & ~implants["died"].to_numpy(bool)
    patient = implants["patient_id"].to_numpy()
    shared = {"subset": "all", "n_sites": len(implants), "n_patients": len(pd.unique(patient))}
    fit = Fit(MEDIAN, scale="months", method=REVERSE, n_events=int(ended.sum()), **shared)
    left_out = left_out_table(MEDIAN, "all", [])
    if len(implants) == 0:
        return Estimates(results_table(_none_followed(fit, shared)), left_out)
    rates, effects = _rates(shared, months, failed, patient)
    rows = [*quantile_rows(fit, kaplan_meier(months, ended, patient)), *rates]
    rows += _failures(shared, months, failed, patient)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def _none_followed(fit: Fit, shared: dict) -> list[dict]:
    none = remark("none_followed")
    others = (
        (Fit(YEARS, scale="years", method=COUNTED, **shared), "sum"),
        (Fit(RATE, scale="per_100_years", method=PATIENTS, **shared), "rate"),
    )
    return [one.row(term, problem=none) for one, term in (*((fit, term) for term in SHARE_STILL_FOLLOWED), *others)]


def quantile_rows(fit: Fit, followed: KaplanMeier) -> list[dict]:
    """Median and quartiles of the follow-up, each with the months at which the band crosses its share."""
    low, high = log_log_interval(followed.survival, followed.std_error)
    rows = []
    for term, share in SHARE_STILL_FOLLOWED.items():
        month, earliest, latest = (
            _first_below(followed.months, curve, share) for curve in (followed.survival, low, high)
        )
        if np.isnan(month):
            rows.append(fit.row(term, problem=remark("follow_up_not_ended")))
        elif fit.n_patients < 2:
            rows.append(fit.row(term, month, problem=remark("one_patient_followed")))
        elif np.isnan(earliest) or np.isnan(latest):
            rows.append(fit.row(term, month, problem=remark("band_too_high"), headline=True))
        elif earliest == latest:
            rows.append(fit.row(term, month, problem=remark("band_at_one_month"), headline=True))
        else:
            limits = {"conf_low": earliest, "conf_high": latest, "conf_level": CONF_LEVEL}
            rows.append(fit.row(term, month, headline=True, **limits))
    return rows


def _first_below(months: np.ndarray, curve: np.ndarray, share: float) -> float:
    """The first month at which a falling curve is at the share or below it; NaN where it never is."""
    reached = np.flatnonzero(curve <= share + HAIR)
    return float(months[reached[0]]) if len(reached) else np.nan


def _rates(shared: dict, months: np.ndarray, failed: np.ndarray, patient: np.ndarray) -> tuple[list[dict], list[dict]]:
    """Implant-years and failures per 100 of them, and the design effect of the latter."""
    years = Fit(YEARS, scale="years", method=COUNTED, n_events=int(failed.sum()), **shared)
    rows = [years.row("sum", float(months.sum() / 12), headline=True)]
    fit = Fit(RATE, scale="per_100_years", method=PATIENTS, n_events=int(failed.sum()), **shared)
    try:
        row = clustered_row(fit, "rate", incidence_of_patients(failed, months / 12, patient), times=PER_YEARS)
    except NotFitted as why:
        return [*rows, fit.row("rate", problem=str(why))], []
    of_poisson = row["estimate"] / np.sqrt(max(failed.sum(), 1))
    return [*rows, row], fit.design_effect_rows(["rate"], [row["std_error"]], [of_poisson])


def _failures(shared: dict, months: np.ndarray, failed: np.ndarray, patient: np.ndarray) -> list[dict]:
    """How many failures, how many of them early and late, and in how many patients."""
    early = failed & (months <= EARLY_MONTHS + HAIR)
    counts = {
        "all": int(failed.sum()),
        "early": int(early.sum()),
        "late": int((failed & ~early).sum()),
        "patients": len(pd.unique(patient[failed])),
    }
    fits = {term: Fit(FAILURES, scale="count", method=COUNTED, n_events=n, **shared) for term, n in counts.items()}
    return [fits[term].row(term, float(n), headline=True) for term, n in counts.items()]
