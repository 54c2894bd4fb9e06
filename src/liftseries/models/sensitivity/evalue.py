"""How strong a cause that nobody recorded would have to be to explain a ratio away: E-values."""

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark, remarks_in
from liftseries.estimators.evalue import e_value
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
    perforation: pd.DataFrame,
    survival: pd.DataFrame,
    penalised_perforation: pd.DataFrame,
    penalised_survival: pd.DataFrame,
) -> Estimates:
    """E-values of the quoted ratios of a perforation and of implant failure.

    Parameters
    ----------
    perforation, penalised_perforation : rows of perforation.gee and perforation.firth
    survival, penalised_survival : rows of survival.cox and survival.firth_cox

    Returns
    -------
    Estimates
        Term `perforation.firth approach[guided]`, scale `E-value`: estimate for the ratio, conf_low for the limit that
        lies nearer to no difference, 1 where the interval holds it. A number's is per unit. Quoted from 20 events on.

    Source: VanderWeele and Ding 2017, doi:10.7326/M16-2607.
    """
    rows = []
    for model in (quoted(penalised_perforation, perforation), quoted(penalised_survival, survival)):
        for _, row in model[~model["term"].eq(INTERCEPT)].iterrows():
            common = row["n_sites"] > 0 and row["n_events"] / row["n_sites"] >= RARE
            hazard = row["scale"] == "log_hazard"
            n_events = int(row["n_events"])
            gate = "" if n_events >= EVALUE else remark("below_gate_evalue", n_events=n_events)
            fit = Fit(
                analysis=ANALYSIS,
                subset="all",
                scale="E-value",
                method=HAZARD_RATIO if hazard else ODDS_RATIO,
                n_sites=int(row["n_sites"]),
                n_patients=int(row["n_patients"]),
                n_events=n_events,
                note=joined(
                    remark("events_common") if common else remark("taken_as_risk_ratio"),
                    "" if "[" in row["term"] else remark("per_unit"),
                    gate or gate_of(row),
                ),
            )
            term = f"{row['analysis']} {row['term']}"
            if pd.isna(row["estimate"]) or pd.isna(row["conf_low"]):
                rows.append(fit.row(term, problem=remark("no_ratio", why=row["problem"])))
                continue
            found = (np.exp(np.clip(row[name], -FARTHEST, FARTHEST)) for name in ("estimate", "conf_low", "conf_high"))
            ratio, low, high = (risk_ratio(value, hazard, common) for value in found)
            nearer = low if ratio >= 1 else high
            holds_none = low <= 1 <= high
            limit = 1.0 if holds_none else e_value(nearer)
            told = {"conf_low": limit, "conf_level": CONF_LEVEL, "headline": bool(row["headline"]) and not gate}
            rows.append(fit.row(term, e_value(ratio), problem=row["problem"], **told))
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", []))


def gate_of(row) -> str:
    """Why the ratio of a model is no headline, where its note says so."""
    return joined(*(str(one) for one in remarks_in(row.get("note")) if one.name.startswith("below_gate")))


def quoted(penalised: pd.DataFrame, model: pd.DataFrame) -> pd.DataFrame:
    """Of each term the row whose ratio is quoted; where none is, that of the penalised whole model."""
    rows = pd.concat([model, penalised], ignore_index=True)
    rows = rows[rows["headline"] | rows["method"].eq(WIDER)].sort_values("headline", ascending=False, kind="stable")
    order = {term: place for place, term in enumerate(dict.fromkeys(penalised["term"]))}
    return rows.drop_duplicates("term").sort_values("term", key=lambda terms: terms.map(order), kind="stable")


def risk_ratio(ratio: float, hazard: bool, common: bool) -> float:
    """An odds or hazard ratio as an approximate risk ratio."""
    if not common:
        return float(ratio)
    if hazard:
        return float(np.expm1(-np.log(2) * np.sqrt(ratio)) / np.expm1(-np.log(2) * np.sqrt(1 / ratio)))
    return float(np.sqrt(ratio))
