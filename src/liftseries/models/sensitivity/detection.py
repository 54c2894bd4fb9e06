"""What the rates would be if only a part of the tears was seen, everywhere alike or more in one group than another."""

from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import few_patients_df
from liftseries.models.perforation.rate import CLUSTER, PATIENTS, fit_perforation_rate
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.gates import ratio_gate
from liftseries.models.shared.levels import as_levels, levels_present
from liftseries.models.shared.outcomes import known_perforation
from liftseries.models.shared.results import NO_STD_ERROR, Estimates, Fit, left_out_table, results_table

ANALYSIS, CONTRAST = "sensitivity.detection", "sensitivity.detection_contrast"
DETECTED = (1.0, 0.8, 0.6, 0.4, 0.25)
DETECTED_APART = (1.0, 0.8, 0.6, 0.4)


def fit_sensitivity_detection(cases: pd.DataFrame, by: Sequence[str] = ("approach",)) -> Estimates:
    """Rates and odds ratios corrected for tears that nobody saw, over a grid of how many were.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets, and whose contrasts are corrected

    Returns
    -------
    Estimates
        `sensitivity.detection`: a subset and share of tears seen (term, `0.6`), scale `risk`: the quoted rate and
        its interval over that share. `sensitivity.detection_contrast`: term `approach[guided] 0.6/0.8`, share seen in
        the reference and in the level, scale `log_odds`. No tear is taken to have been seen that was none.

    Source: Rogan and Gladen 1978, doi:10.1093/oxfordjournals.aje.a112510.
    """
    crude = fit_perforation_rate(cases, by)
    rates = crude.rows
    # Divided by a share, an estimate keeps the design effect that it had.
    quoted = crude.design_effects[crude.design_effects["method"].eq(PATIENTS)]
    of_rate = quoted.set_index("subset")["estimate"].to_dict()
    rows, effects = [], []
    for _, rate in rates[rates["method"].eq(PATIENTS)].iterrows():
        fit = Fit(
            analysis=ANALYSIS,
            subset=rate["subset"],
            scale="risk",
            method=PATIENTS,
            n_sites=int(rate["n_sites"]),
            n_patients=int(rate["n_patients"]),
            n_events=int(rate["n_events"]),
            df=rate["df"],
        )
        told = [corrected_row(fit, rate, detected) for detected in DETECTED]
        rows += told
        effects += [
            fit.design_effect_row(row["term"], np.sqrt(of_rate[rate["subset"]]), 1.0)
            for row in told
            if np.isfinite(row["std_error"]) and rate["subset"] in of_rate
        ]
    for column in by:
        told, told_effects = contrast_rows(cases, column)
        rows += told
        effects += told_effects
    left_out = left_out_table(ANALYSIS, "all", [])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def corrected_row(fit: Fit, rate: pd.Series, detected: float) -> dict:
    """A rate over the share of tears seen; a share that would need more tears than sites has a problem."""
    term = f"{detected:g}"
    if pd.isna(rate["estimate"]):
        return fit.row(term, problem=rate["problem"])
    risk = rate["estimate"] / detected
    if risk > 1:
        return fit.row(term, problem=remark("too_few_tears_seen"))
    limits = {"conf_low": rate["conf_low"] / detected, "conf_high": min(rate["conf_high"] / detected, 1.0)}
    told = {"conf_level": rate["conf_level"], "note": rate["note"]}
    return fit.row(term, risk, rate["std_error"] / detected, rate["problem"], **limits, **told)


def contrast_rows(cases: pd.DataFrame, column: str) -> tuple[list[dict], list[dict]]:
    """Log odds ratios of a column's levels, each with its own share of tears seen; and their design effects."""
    known, perforated = known_perforation(cases)
    table, event = cases.loc[known], perforated[known].astype(float)
    levels = as_levels(table[column])
    present = levels_present(levels)
    if len(present) < 2:
        return [], []
    reference = reference_among(column, levels)
    patient = table["patient_id"].to_numpy()
    rows, effects = [], []
    for level in (level for level in present if level != reference):
        groups = [np.asarray(levels == one) for one in (reference, level)]
        either = groups[0] | groups[1]
        k = len(pd.unique(patient[either]))
        df = few_patients_df(k, 2)
        fit = Fit(
            analysis=CONTRAST,
            subset="all",
            scale="log_odds",
            method=CLUSTER,
            n_sites=int(either.sum()),
            n_patients=k,
            n_events=int(event[either].sum()),
            df=df,
            note=joined(
                remark("bias_reduced") if df is not None else "",
                ratio_gate(int(event[either].sum()), 1),
                remark("reference", column=column, reference=reference),
            ),
        )
        shares = [event[group].mean() for group in groups]
        of_one = [name for name, group in zip((reference, level), groups, strict=True) if len(set(patient[group])) < 2]
        sums = share_residuals(event[either], patient[either], groups[1][either], bias_reduced=df is not None)
        for seen in product(DETECTED_APART, repeat=2):
            term = f"{column}[{level}] {seen[0]:g}/{seen[1]:g}"
            risks = [share / detected for share, detected in zip(shares, seen, strict=True)]
            if min(shares) == 0:
                rows.append(fit.row(term, problem=remark("no_perforation_at_a_level", column=column)))
            elif of_one:
                rows.append(fit.row(term, problem=remark("one_patient_at_level", column=column, level=of_one[0])))
            elif max(risks) >= 1:
                rows.append(fit.row(term, problem=remark("too_few_tears_seen")))
            else:
                # The logit of a share p over d changes with p by 1 / (p (1 - p / d)).
                slopes = [1 / (share * (1 - risk)) for share, risk in zip(shares, risks, strict=True)]
                change = slopes[1] * sums[1] - slopes[0] * sums[0]
                se = float(np.sqrt(change @ change))
                odds = [risk / (1 - risk) for risk in risks]
                rows.append(fit.wald_row(term, float(np.log(odds[1] / odds[0])), se))
                variances = [share * (1 - share) / group.sum() for share, group in zip(shares, groups, strict=True)]
                alone = np.sqrt(sum(slope**2 * variance for slope, variance in zip(slopes, variances, strict=True)))
                effects += fit.design_effect_rows([term], [se], [alone])
    return rows, effects


def share_residuals(event, patient, in_level, bias_reduced: bool) -> tuple[np.ndarray, np.ndarray]:
    """What each patient adds to the error of the share in the reference and of that in the level, each shape (K,).

    Source: the score of a model with one risk a level and working independence; `bias_reduced` takes out the patient's
    own pull on the share, as Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x.
    """
    codes, k = cluster_codes(patient)
    parts = []
    for group in (~in_level, in_level):
        residual = event[group] - event[group].mean()
        error = np.bincount(codes[group], weights=residual, minlength=k) / group.sum()
        own = np.bincount(codes[group], minlength=k) / group.sum()
        parts.append(error / np.maximum(1 - own, NO_STD_ERROR) if bias_reduced else error)
    return parts[0], parts[1]
