"""How strong a cause that nobody recorded would have to be to explain a ratio away: E-values."""

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.gates import EVALUE
from liftseries.models.shared.penalised import WIDER
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

ANALYSIS = "sensitivity.evalue"
ODDS_RATIO, HAZARD_RATIO = "odds_ratio", "hazard_ratio"
FARTHEST = 300.0  # log ratio; an E-value squares its ratio, which has no number beyond
RARE = 0.15  # events below which odds and hazard ratios pass for risk ratios; VanderWeele and Ding 2017


def fit_sensitivity_evalue(
    perforation: pd.DataFrame, survival: pd.DataFrame, penalised_survival: pd.DataFrame
) -> Estimates:
    """E-values of the terms of perforation.gee and of the hazard ratios that are quoted.

    Parameters
    ----------
    perforation : rows of perforation.gee
    survival, penalised_survival : rows of survival.cox and survival.firth_cox

    Returns
    -------
    Estimates
        Term `perforation.gee approach[guided]`, scale `E-value`: estimate for the ratio, conf_low for the limit that
        lies nearer to no difference, 1 where the interval holds it. A number's is per unit.

    Source: VanderWeele and Ding 2017, doi:10.7326/M16-2607.
    """
    rows = []
    for model in (perforation, quoted(penalised_survival, survival)):
        for _, row in model[~model["term"].eq(INTERCEPT)].iterrows():
            common = row["n_sites"] > 0 and row["n_events"] / row["n_sites"] >= RARE
            hazard = row["scale"] == "log_hazard"
            fit = Fit(
                analysis=ANALYSIS,
                subset="all",
                scale="E-value",
                method=HAZARD_RATIO if hazard else ODDS_RATIO,
                n_sites=int(row["n_sites"]),
                n_patients=int(row["n_patients"]),
                n_events=int(row["n_events"]),
                note=joined(
                    remark("events_common") if common else remark("taken_as_risk_ratio"),
                    "" if "[" in row["term"] else remark("per_unit"),
                ),
            )
            term = f"{row['analysis']} {row['term']}"
            if hazard and row["n_events"] < EVALUE:
                few = remark("below_gate_evalue", n_events=int(row["n_events"]))
                rows.append(fit.row(term, problem=remark("no_ratio", why=few)))
                continue
            if pd.isna(row["estimate"]) or pd.isna(row["conf_low"]):
                rows.append(fit.row(term, problem=remark("no_ratio", why=row["problem"])))
                continue
            found = (np.exp(np.clip(row[name], -FARTHEST, FARTHEST)) for name in ("estimate", "conf_low", "conf_high"))
            ratio, low, high = (risk_ratio(value, hazard, common) for value in found)
            nearer = low if ratio >= 1 else high
            holds_none = low <= 1 <= high
            limit = 1.0 if holds_none else e_value(nearer)
            rows.append(fit.row(term, e_value(ratio), problem=row["problem"], conf_low=limit, conf_level=CONF_LEVEL))
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))


def quoted(penalised: pd.DataFrame, model: pd.DataFrame) -> pd.DataFrame:
    """The headline rows of a model or of its penalised form; where there is none, those that would be penalised."""
    both = pd.concat([penalised, model], ignore_index=True)
    return both[both["headline"]] if both["headline"].any() else penalised[penalised["method"].eq(WIDER)]


def e_value(risk_ratio: float) -> float:
    """The risk ratio that a hidden cause needs with exposure and outcome to make `risk_ratio` out of 1."""
    away = max(risk_ratio, 1 / risk_ratio)
    return float(away + np.sqrt(away * (away - 1)))


def risk_ratio(ratio: float, hazard: bool, common: bool) -> float:
    """An odds or hazard ratio as an approximate risk ratio."""
    if not common:
        return float(ratio)
    if hazard:
        return float(np.expm1(-np.log(2) * np.sqrt(ratio)) / np.expm1(-np.log(2) * np.sqrt(1 / ratio)))
    return float(np.sqrt(ratio))
