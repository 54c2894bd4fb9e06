"""Whether operators tear fewer membranes as they go on: the risk along the operator's case number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.bias_reduced import logistic_bias_reduced
from liftseries.estimators.clustered_count import shifted_to_mean
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.audit.over_time import OPERATOR, case_numbers
from liftseries.models.audit.units import Audited, audited
from liftseries.models.shared.design import columns_of, design_matrix, independent_columns
from liftseries.models.shared.gates import SPLINE
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.results import (
    NO_STD_ERROR,
    ZERO_STD_ERROR,
    Estimates,
    Fit,
    left_out_table,
    results_table,
)

ANALYSIS = "audit.learning"
MOVED, FIRTH = "firth", "firth_unmoved"
OPERATORS_AS_CLUSTERS = 10
FEWEST_REACH = 3  # operators, for a case number to be told
FIRST_CASES = (1, 5, 10)
KNOTS = 3


@dataclass(frozen=True)
class LearningData:
    """What the model stands on.

    Attributes
    ----------
    x : shape (n, p), the columns of the model, the first constant
    spline : the columns of `x` that are the case number's
    knots : of log(case number); none where it takes too few values and stands as it is
    event, patient, operator, case_no : shape (n,)
    """

    x: np.ndarray
    spline: tuple[int, ...]
    knots: np.ndarray
    event: np.ndarray
    patient: np.ndarray
    operator: np.ndarray
    case_no: np.ndarray

    def at(self, case_no: float) -> np.ndarray:
        """The columns with every site at one case number, its operator's own remaining; shape (n, p)."""
        setting = self.x.copy()
        setting[:, self.spline] = basis(np.log([float(case_no)]), self.knots)[:, : len(self.spline)]
        return setting


def fit_audit_learning(cases: pd.DataFrame, case_mix: Sequence[str]) -> Estimates:
    """Risk of a tear at the operators' first, fifth, tenth … case, standardised over all sites.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it; every year counts
    case_mix : terms that it is adjusted for

    Returns
    -------
    Estimates
        A row a case number and method, scale `risk`: `firth`, the headline, its intercept moved until the mean risk is
        the observed share, and `firth_unmoved`.

    Source: see `firth_logistic`, `restricted_cubic_spline` and `logistic_bias_reduced`; the operator's mean beside his
    cases: Mundlak 1978, doi:10.2307/1913646.
    """
    audit = audited(cases, OPERATOR)
    numbers = case_numbers(audit.table)
    left = [*audit.left]
    try:
        if why := audit.why_not(SPLINE):
            raise NotFitted(why)
        data, reasons = learning_data(audit, numbers, case_mix)
        left += reasons
        rows = learning_rows(data)
    except NotFitted as refused:
        fit = Fit(ANALYSIS, "all", "risk", MOVED, **audit.counts(np.ones(len(audit.event), bool)))
        rows = [
            fit.row(f"{case:g}", method=method, problem=str(refused))
            for case in FIRST_CASES
            for method in (MOVED, FIRTH)
        ]
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", left))


def basis(log_case: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """log(case number) and its bend, shape (n, 2), or (n, 1) without three knots."""
    return restricted_cubic_spline(log_case, knots) if len(knots) == KNOTS else np.asarray(log_case)[:, None]


def learning_data(
    audit: Audited, numbers: np.ndarray, case_mix: Sequence[str]
) -> tuple[LearningData, list[tuple[str, int]]]:
    """The columns of the model on complete cases, and why sites are left out.

    Raises NotFitted where no case number is recorded, or all are one.
    """
    table = audit.table.assign(**{"log case": np.log(np.where(numbers > 0, numbers, np.nan))})
    design = design_matrix(table, ["log case", *case_mix])
    used = design.used
    if not used.any() or "log case" not in design.names:
        raise NotFitted(remark("no_case_number"))
    log_case = table["log case"].to_numpy(float)[used]
    operator = as_levels(table[OPERATOR])[used]
    knots = knots_of(log_case, KNOTS)
    columns = {f"case {j}": column for j, column in enumerate(basis(log_case, knots).T)}
    of_case = list(columns)
    columns |= {
        name: design.matrix[:, j] for j, name in enumerate(design.names) if name not in ("(intercept)", "log case")
    }
    codes, n_operators = cluster_codes(np.asarray(operator.astype(object)))
    if n_operators >= OPERATORS_AS_CLUSTERS:
        columns["operator's mean"] = (np.bincount(codes, log_case) / np.bincount(codes))[codes]
    else:
        columns |= columns_of(OPERATOR, operator, np.ones(len(codes), bool))[0]
    kept = independent_columns({name: one for name, one in columns.items() if np.ptp(one) > 0}, len(codes))[0]
    x = np.column_stack([np.ones(len(codes)), *(columns[name] for name in kept)])
    spline = tuple(1 + kept.index(name) for name in of_case if name in kept)
    reasons = pd.Series(design.reasons[design.reasons != ""], dtype=object).value_counts()
    named = [
        (remark("no_case_number_here") if "log case" in reason else reason, int(n)) for reason, n in reasons.items()
    ]
    data = LearningData(x, spline, knots, audit.event[used], audit.patient[used], codes, numbers[used])
    return data, named


def learning_rows(data: LearningData) -> list[dict]:
    """A row a case number that three operators reach, and method."""
    n, p = data.x.shape
    event, n_events = data.event, int(data.event.sum())
    if n_events < SPLINE:
        raise NotFitted(remark("below_gate_curve", n_events=n_events))
    if event.all():
        raise NotFitted(remark("all_perforated"))
    if n <= p:
        raise NotFitted(remark("too_few_sites", n_sites=n, n_coefficients=p))
    if not (told := cases_told(data.case_no, data.operator)):
        raise NotFitted(remark("too_few_operators_reach"))
    n_operators, n_patients = int(data.operator.max()) + 1, len(pd.unique(data.patient))
    coefficients = firth_logistic(data.x, event, profile=False).coefficients
    by_operator = n_operators >= OPERATORS_AS_CLUSTERS
    cluster, df = data.operator, float(n_operators - 2)
    notes = [remark("against_operators_mean", n_operators=n_operators), remark("clusters_are_operators")]
    if not by_operator:
        cluster, df = data.patient, few_patients_df(n_patients, p)
        notes = [remark("operators_own_intercepts", n_operators=n_operators), remark("clusters_are_patients")]
    covariance = logistic_bias_reduced(data.x, event, coefficients, cluster)
    log_odds = data.x @ coefficients
    moved = logit(shifted_to_mean(log_odds, event.mean())[0]) - log_odds[0]
    rows = []
    for case in told:
        early = remark("before_first_case") if case < data.case_no.min() else ""
        for method, shift in ((MOVED, moved), (FIRTH, 0.0)):
            said = joined(remark("shifted_to_share") if method == MOVED else "", *notes, early)
            fit = Fit(ANALYSIS, "all", "risk", method, n, n_patients, n_events, df, said)
            rows.append(_row(fit, case, data.at(case), coefficients, shift, covariance))
    return rows


def cases_told(case_no: np.ndarray, operator: np.ndarray) -> list[float]:
    """1, 5, 10, 20, 40 …, as far as three operators have come."""
    reached = np.zeros(int(operator.max()) + 1)
    np.maximum.at(reached, operator, case_no)
    told, case = list(map(float, FIRST_CASES)), 2.0 * FIRST_CASES[-1]
    while case <= case_no.max():
        told.append(case)
        case *= 2
    return [one for one in told if (reached >= one).sum() >= FEWEST_REACH]


def _row(fit: Fit, case: float, setting: np.ndarray, coefficients, shift: float, covariance) -> dict:
    """The mean risk at a case number, its interval on the logit."""
    risk = expit(setting @ coefficients + shift)
    mean = float(risk.mean())
    gradient = (risk * (1 - risk)) @ setting / len(risk)
    std_error = float(np.sqrt(gradient @ covariance @ gradient))
    if not std_error > NO_STD_ERROR:  # so steep a curve that the risk is 0 or 1 but for rounding
        return fit.row(f"{case:g}", problem=ZERO_STD_ERROR)
    half = critical_value(fit.df) * std_error / (mean * (1 - mean))
    low, high = expit(logit(mean) + np.array([-half, half]))
    limits = {"conf_low": float(low), "conf_high": float(high), "conf_level": CONF_LEVEL}
    return fit.row(f"{case:g}", mean, std_error, **limits, headline=fit.method == MOVED)
