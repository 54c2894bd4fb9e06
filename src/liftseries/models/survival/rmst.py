"""How many months an implant stays in function up to a horizon: restricted mean survival time and its differences."""

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.rmst import RestrictedMean, restricted_mean
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.levels import as_levels, levels_present, subsets
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, results_table, warned
from liftseries.models.survival.corrected import by_month, corrected_rows, interleaved
from liftseries.models.survival.km import METHOD, levels_left_out, of_implants

ANALYSIS, DIFFERENCE = "survival.rmst", "survival.rmst_difference"


def fit_survival_rmst(implants: pd.DataFrame, months: Sequence[float], by: Sequence[str] = ()) -> Estimates:
    """Restricted mean survival time up to each month, and its differences between levels.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    months : horizons
    by : columns whose levels are subsets besides `all`, and compared with their reference level

    Returns
    -------
    Estimates
        `survival.rmst`: two rows a subset and month, scale `months`: `infinitesimal_jackknife` and `corrected`, whose
        bounds, where at most one patient has a failure, are of the share of the months that is lost.
        `survival.rmst_difference`: a row a level other than the reference and month, level less reference; patients
        with implants at both levels count in both. Below 50 patients by t. With a level of one patient, or without a
        failure before the horizon, it has no interval.

    Source: see `restricted_mean` and `corrected_rows`.
    """
    patients = cluster_codes(implants["patient_id"])
    rows, effects = [], []
    for subset, member in subsets(implants, by):
        found = mean_rows(subset, implants.loc[member], months)
        rows += found[0]
        effects += found[1]
    for column in by:
        levels = as_levels(implants[column])
        present = levels_present(levels)
        reference = reference_among(column, levels) if len(present) > 1 else ""
        for level in (level for level in present if len(present) > 1 and level != reference):
            found = difference_rows(implants, patients, column, level, reference, months)
            rows += found[0]
            effects += found[1]
    order = sorted(rows, key=lambda row: row["analysis"] == DIFFERENCE)
    return Estimates(
        results_table(warned(order, effects)),
        levels_left_out(ANALYSIS, implants, by),
        design_effects=results_table(effects),
    )


def mean_rows(subset: str, part: pd.DataFrame, months: Sequence[float]) -> tuple[list[dict], list[dict]]:
    """Rows of a subset's means, and their design effects."""
    fit, codes = _fit(ANALYSIS, subset, part), cluster_codes(part["patient_id"])[0]
    told, lost, effects = [], np.full(len(months), np.nan), []
    for j, month in enumerate(months):
        try:
            mean = _mean(part, month)
        except NotFitted as why:
            told.append(fit.row(f"{month:g}", problem=str(why)))
            continue
        told.append(mean_row(fit, month, mean, no_variance(part, mean, month), codes))
        lost[j] = max(month - mean.months, 0.0)
        if np.isfinite(told[-1]["std_error"]):
            alone = float(np.sqrt(mean.influence @ mean.influence))
            effects.append(fit.design_effect_row(f"{month:g}", told[-1]["std_error"], alone))
    horizon = np.asarray(months, float)
    seen = by_month(*of_implants(part), horizon)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(horizon > 0, lost / horizon, np.nan)
    limits = partial(months_limits, horizon, lost, critical_value(fit.df))
    headline = corrected_rows(told, seen, share, lambda risk: horizon * (1 - risk), limits)
    return interleaved(told, headline), effects


def difference_rows(
    implants: pd.DataFrame,
    patients: tuple[np.ndarray, int],
    column: str,
    level: str,
    reference: str,
    months: Sequence[float],
) -> tuple[list[dict], list[dict]]:
    """Rows of a level's differences from the reference, and their design effects; `patients` codes and their number."""
    codes, n_patients = patients
    levels = as_levels(implants[column])
    pair = [np.asarray(levels == one) for one in (level, reference)]
    note = remark("reference", column=column, reference=reference)
    fit = _fit(DIFFERENCE, f"{column}={level}", implants.loc[pair[0] | pair[1]], note)
    parts = [implants.loc[member] for member in pair]
    rows, effects = [], []
    for month in months:
        term = f"{month:g}"
        try:
            means = [_mean(part, month) for part in parts]
        except NotFitted as why:
            rows.append(fit.row(term, problem=str(why)))
            continue
        problems = [
            remark("at_level", column=column, level=one, why=why)
            for one, *group in zip((level, reference), parts, means, strict=True)
            if (why := no_variance(*group, month))
        ]
        apart = means[0].months - means[1].months
        if problems:  # the other level's variance alone would leave the interval too short
            rows.append(fit.row(term, apart, problem=joined(*problems)))
            continue
        sums = np.zeros(n_patients)
        for sign, member, mean in zip((1, -1), pair, means, strict=True):
            sums += sign * np.bincount(codes[member], weights=mean.influence, minlength=n_patients)
        se = float(np.sqrt(sums @ sums))
        alone = float(np.sqrt(sum(mean.influence @ mean.influence for mean in means)))
        rows.append(fit.wald_row(term, apart, se))
        effects += fit.design_effect_rows([term], [se], [alone])
    return rows, effects


def no_variance(part: pd.DataFrame, mean: RestrictedMean, month: float) -> str:
    """Why implants tell nothing about how sure their mean is; empty where they do."""
    if month - mean.months <= NO_STD_ERROR:
        return remark("no_months_lost")
    return remark("one_patient_followed") if part["patient_id"].nunique() < 2 else ""


def mean_row(fit: Fit, month: float, mean: RestrictedMean, why: str, codes: np.ndarray) -> dict:
    """A mean with its interval."""
    term = f"{month:g}"
    sums = np.bincount(codes, weights=mean.influence)
    se, lost = float(np.sqrt(sums @ sums)), month - mean.months
    if why or not se > NO_STD_ERROR:
        return fit.row(term, mean.months, problem=why or ZERO_STD_ERROR)
    low, high = months_limits(month, lost, critical_value(fit.df), se)
    return fit.row(term, mean.months, se, conf_low=float(low), conf_high=float(high), conf_level=CONF_LEVEL)


def months_limits(horizon, lost, critical: float, std_error):
    """Limits of months in function, held between 0 and the horizon by taking them on the log of the months lost."""
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.exp(critical * std_error / lost)
        return np.maximum(horizon - lost * factor, 0.0), horizon - lost / factor


def _mean(part: pd.DataFrame, month: float) -> RestrictedMean:
    if len(part) == 0:
        raise NotFitted(remark("none_followed"))
    return restricted_mean(part["months"].to_numpy(float), part["failed"].to_numpy(bool), month)


def _fit(analysis: str, subset: str, part: pd.DataFrame, note: str = "") -> Fit:
    n_patients = part["patient_id"].nunique()
    df = few_patients_df(n_patients)
    return Fit(
        analysis=analysis,
        subset=subset,
        scale="months",
        method=METHOD,
        n_sites=len(part),
        n_patients=n_patients,
        n_events=int(part["failed"].sum()),
        df=df,
        note=joined(note, "" if df is None else remark("t_less_one")),
    )
