"""How many months an implant stays in function up to a horizon: restricted mean survival time and its differences."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.rmst import RestrictedMean, restricted_mean
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.levels import as_levels, levels_present, subsets
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, left_out_table, results_table
from liftseries.models.survival.km import METHOD

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
        `survival.rmst`: a row a subset and month, scale `months`. `survival.rmst_difference`: a row a level other than
        the reference and month, level less reference; patients with implants at both levels count in both. Below 50
        patients by t. With a level of one patient, or without a failure before the horizon, it has no interval.

    Source: see `restricted_mean`.
    """
    codes, n_patients = cluster_codes(implants["patient_id"])
    rows, differences, effects = [], [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        fit = _fit(ANALYSIS, subset, part)
        for month in months:
            try:
                mean = _mean(part, month)
            except NotFitted as why:
                rows.append(fit.row(f"{month:g}", problem=str(why)))
                continue
            rows.append(mean_row(fit, month, mean, no_variance(part, mean, month), codes[member], n_patients))
            if np.isfinite(rows[-1]["std_error"]):
                alone = float(np.sqrt(mean.influence @ mean.influence))
                effects.append(fit.design_effect_row(f"{month:g}", rows[-1]["std_error"], alone))
    for column in by:
        levels = as_levels(implants[column])
        present = levels_present(levels)
        if len(present) < 2:
            continue
        reference = reference_among(column, levels)
        for level in (level for level in present if level != reference):
            pair = [np.asarray(levels == one) for one in (level, reference)]
            note = remark("reference", column=column, reference=reference)
            fit = _fit(DIFFERENCE, f"{column}={level}", implants.loc[pair[0] | pair[1]], note)
            parts = [implants.loc[member] for member in pair]
            for month in months:
                try:
                    means = [_mean(part, month) for part in parts]
                except NotFitted as why:
                    differences.append(fit.row(f"{month:g}", problem=str(why)))
                    continue
                problems = [
                    remark("at_level", column=column, level=one, why=why)
                    for one, *group in zip((level, reference), parts, means, strict=True)
                    if (why := no_variance(*group, month))
                ]
                apart = means[0].months - means[1].months
                if problems:  # the other level's variance alone would leave the interval too short
                    differences.append(fit.row(f"{month:g}", apart, problem=joined(*problems)))
                    continue
                sums = np.zeros(n_patients)
                for sign, member, mean in zip((1, -1), pair, means, strict=True):
                    sums += sign * np.bincount(codes[member], weights=mean.influence, minlength=n_patients)
                se = float(np.sqrt(sums @ sums))
                alone = float(np.sqrt(sum(mean.influence @ mean.influence for mean in means)))
                differences.append(fit.wald_row(f"{month:g}", apart, se))
                effects += fit.design_effect_rows([f"{month:g}"], [se], [alone])
    left_out = [left_out_table(ANALYSIS, "all", [])]
    for column in by:
        n_without = int((as_levels(implants[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(remark("label_unknown", column=column), n_without)]))
    return Estimates(
        results_table([*rows, *differences]),
        pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
    )


def no_variance(part: pd.DataFrame, mean: RestrictedMean, month: float) -> str:
    """Why implants tell nothing about how sure their mean is; empty where they do."""
    if month - mean.months <= NO_STD_ERROR:
        return remark("no_months_lost")
    return remark("one_patient_followed") if part["patient_id"].nunique() < 2 else ""


def mean_row(fit: Fit, month: float, mean: RestrictedMean, why: str, codes: np.ndarray, n_patients: int) -> dict:
    """A mean with its interval, held between 0 and the horizon by taking it on the log of the months lost."""
    term = f"{month:g}"
    sums = np.bincount(codes, weights=mean.influence, minlength=n_patients)
    se, lost = float(np.sqrt(sums @ sums)), month - mean.months
    if why or not se > NO_STD_ERROR:
        return fit.row(term, mean.months, problem=why or ZERO_STD_ERROR)
    factor = np.exp(critical_value(fit.df) * se / lost)
    limits = {"conf_low": max(month - lost * factor, 0.0), "conf_high": month - lost / factor}
    return fit.row(term, mean.months, se, **limits, conf_level=CONF_LEVEL)


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
