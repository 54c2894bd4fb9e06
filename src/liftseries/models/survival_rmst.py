"""How many months an implant stays in function up to a horizon: restricted mean survival time and its differences."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.models.design import reference_level
from liftseries.models.estimators.clusters import cluster_codes
from liftseries.models.estimators.rmst import RestrictedMean, restricted_mean
from liftseries.models.levels import as_levels, levels_present, subsets
from liftseries.models.tidy import (
    CONF_LEVEL,
    NO_STD_ERROR,
    ZERO_STD_ERROR,
    Estimates,
    Fit,
    NotFitted,
    critical_value,
    left_out_table,
    results_table,
)

ANALYSIS, DIFFERENCE = "survival.rmst", "survival.rmst_difference"
METHOD = "area under Kaplan-Meier, patient-clustered infinitesimal jackknife, interval on the log of the months lost"
NO_FAILURE = "no implant has failed by then: none of the months is lost, and there is no interval"


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
        the reference and month, level less reference; patients with implants at both levels count in both.

    Source: see `restricted_mean`.
    """
    codes, n_patients = cluster_codes(implants["patient_id"])
    rows, differences, effects = [], [], []
    for subset, member in subsets(implants, by):
        part = implants.loc[member]
        fit = _fit(ANALYSIS, subset, METHOD, part)
        for month in months:
            try:
                mean = _mean(part, month)
            except NotFitted as why:
                rows.append(fit.row(f"{month:g}", problem=str(why)))
                continue
            rows.append(mean_row(fit, month, mean, codes[member], n_patients))
            if np.isfinite(rows[-1]["std_error"]):
                alone = float(np.sqrt(mean.influence @ mean.influence))
                effects.append(fit.design_effect_row(f"{month:g}", rows[-1]["std_error"], alone))
    for column in by:
        levels = as_levels(implants[column])
        present = levels_present(levels)
        if len(present) < 2:
            continue
        named = reference_level(column, levels)
        reference = named if named in present else present[0]
        for level in (level for level in present if level != reference):
            pair = [np.asarray(levels == one) for one in (level, reference)]
            method = f"difference of areas, patient-clustered; {column} against {reference}, as named"
            fit = _fit(DIFFERENCE, f"{column}={level}", method, implants.loc[pair[0] | pair[1]])
            for month in months:
                try:
                    means = [_mean(implants.loc[member], month) for member in pair]
                except NotFitted as why:
                    differences.append(fit.row(f"{month:g}", problem=str(why)))
                    continue
                sums = np.zeros(n_patients)
                for sign, member, mean in zip((1, -1), pair, means, strict=True):
                    sums += sign * np.bincount(codes[member], weights=mean.influence, minlength=n_patients)
                se = float(np.sqrt(sums @ sums))
                if se > NO_STD_ERROR:
                    differences.append(fit.wald_row(f"{month:g}", means[0].months - means[1].months, se))
                else:
                    differences.append(fit.row(f"{month:g}", 0.0, problem=NO_FAILURE))
    left_out = [left_out_table(ANALYSIS, "all", [])]
    for column in by:
        n_without = int((as_levels(implants[column]).codes < 0).sum())
        left_out.append(left_out_table(ANALYSIS, column, [(f"{column} unknown", n_without)]))
    return Estimates(
        results_table([*rows, *differences]),
        pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
    )


def mean_row(fit: Fit, month: float, mean: RestrictedMean, codes: np.ndarray, n_patients: int) -> dict:
    """A mean with its interval, held between 0 and the horizon by taking it on the log of the months lost."""
    term = f"{month:g}"
    sums = np.bincount(codes, weights=mean.influence, minlength=n_patients)
    se, lost = float(np.sqrt(sums @ sums)), month - mean.months
    if lost <= NO_STD_ERROR:
        return fit.row(term, month, problem=NO_FAILURE)
    if fit.n_patients < 2:
        return fit.row(term, mean.months, problem="all implants belong to one patient, so no variance is seen")
    if not se > NO_STD_ERROR:
        return fit.row(term, mean.months, problem=ZERO_STD_ERROR)
    factor = np.exp(critical_value() * se / lost)
    limits = {"conf_low": max(month - lost * factor, 0.0), "conf_high": month - lost / factor}
    return fit.row(term, mean.months, se, **limits, conf_level=CONF_LEVEL)


def _mean(part: pd.DataFrame, month: float) -> RestrictedMean:
    if len(part) == 0:
        raise NotFitted("no implant was followed")
    return restricted_mean(part["months"].to_numpy(float), part["failed"].to_numpy(bool), month)


def _fit(analysis: str, subset: str, method: str, part: pd.DataFrame) -> Fit:
    return Fit(
        analysis=analysis,
        subset=subset,
        scale="months",
        method=method,
        n_sites=len(part),
        n_patients=part["patient_id"].nunique(),
        n_events=int(part["failed"].sum()),
    )
