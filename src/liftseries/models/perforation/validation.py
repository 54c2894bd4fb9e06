"""The perforation model taken as a predictor: how well would it predict a tear, here and at another centre?

A model looks better on the sites it was fitted to than on others. Fitted to resampled patients and tried on the whole
series, it shows by how much; fitted without a centre and tried on it, how far it carries.
"""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.prediction import Measure, c_statistic, calibration_intercept, calibration_slope
from liftseries.estimators.resampled import c_statistics, calibrations, resampled_gee
from liftseries.estimators.resampling import patients_drawn
from liftseries.models.perforation.refits import LARGEST_LOG_ODDS, copies, refitted_coefficients
from liftseries.models.shared.complete_cases import PerforationData, perforation_data
from liftseries.models.shared.gates import SPLINE as PREDICTION  # a prediction is judged from as many events on
from liftseries.models.shared.levels import as_levels, levels_present
from liftseries.models.shared.resamples import gives_percentiles
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, results_table
from liftseries.models.shared.separation import refuse_infinite_odds

ANALYSIS = "perforation.validation"
APPARENT, CORRECTED, LEAVE_OUT = "apparent", "optimism_corrected", "leave_one_centre_out"
TOPIC = 2  # of the random numbers, so that no two analyses draw the same
MEASURES: dict[str, Callable[..., Measure]] = {
    "c_statistic": c_statistic,
    "calibration_intercept": calibration_intercept,
    "calibration_slope": calibration_slope,
}
DRAWS = ("replicate", "term", "resampled", "tried_on_series", "penalised")
# Of models that leave centres out: a large series of more centres leaves several out together.
MOST_REFITS, LARGE_SERIES = 60, 20_000
DECIMALS = 9  # of a term; what differs by less is alike
SITES_AT_ONCE = 500_000  # of the resamples that are judged together


def validation_draws(cases: pd.DataFrame, terms: Sequence[str], seed: int, first: int, n: int) -> pd.DataFrame:
    """The model fitted to resampled patients, judged on them and on the whole series.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`
    seed : of the study
    first, n : the number of the first replicate, and how many

    Returns
    -------
    `replicate, term, resampled, tried_on_series, penalised`
        A row a replicate and measure, NaN where it could not be had; `penalised` is true where the resample had no
        finite odds and the penalised model stood in. Empty where the model itself cannot be fitted.
    """
    data = perforation_data(cases, terms)
    if n == 0 or _whole_model(data) is None:
        return pd.DataFrame(columns=list(DRAWS))
    codes, n_patients = cluster_codes(data.patient)
    at_once = max(1, SITES_AT_ONCE // len(codes))
    # Sites alike in all terms, but for rounding, have one score and are counted together.
    _, *alike = np.unique(data.design.matrix.round(DECIMALS), axis=0, return_index=True, return_inverse=True)
    parts = [
        _judged(data, codes, alike, patients_drawn(n_patients, seed, TOPIC, at, min(at_once, first + n - at)), at)
        for at in range(first, first + n, at_once)
    ]
    return pd.concat(parts, ignore_index=True)[list(DRAWS)]


def _judged(data: PerforationData, codes: np.ndarray, alike: list, times: np.ndarray, first: int) -> pd.DataFrame:
    """The replicates of some resamples, the first of them number `first`; `alike`: one of each kind, everyone's."""
    x, event = data.design.matrix, data.event
    coefficients, fitted = resampled_gee(x, event, codes, times)
    (one_of, kind), weight = alike, times[:, codes]
    here, there = (
        tuple(cluster_sums(kind, len(one_of), (of_site * (event == one)).T).T for one in (True, False))
        for of_site in (weight, np.ones((1, len(event))))
    )
    score = coefficients @ x[one_of].T
    fitted &= np.where(here[0] + here[1] > 0, np.abs(score), 0.0).max(axis=1) <= LARGEST_LOG_ODDS
    penalised = ~fitted
    for k in np.flatnonzero(~fitted):
        sites = np.repeat(np.arange(len(codes)), weight[k])
        found, penalised[k] = refitted_coefficients(x[sites], event[sites], copies(codes, times[k]))
        score[k] = np.nan if found is None else x[one_of] @ found
    measures = {"c_statistic": c_statistics(score, here, there)} | {
        f"calibration_{name}": [calibrations(score, *counts, name == "slope") for counts in (here, there)]
        for name in ("intercept", "slope")
    }
    tables = [
        pd.DataFrame({"term": term, "resampled": resampled, "tried_on_series": tried, "penalised": penalised})
        for term, (resampled, tried) in measures.items()
    ]
    judged = pd.concat(tables).rename_axis("replicate").reset_index()
    order = np.argsort(judged["replicate"], kind="stable")
    return judged.assign(replicate=judged["replicate"] + first).iloc[order]


def fit_perforation_validation(cases: pd.DataFrame, terms: Sequence[str], draws: pd.DataFrame) -> Estimates:
    """Discrimination and calibration: as fitted, corrected for optimism, and with each centre left out.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`
    draws : all chunks of `validation_draws`

    Returns
    -------
    Estimates
        Terms `c_statistic`, `calibration_intercept`, `calibration_slope`, scale `statistic`; methods `apparent`,
        `optimism_corrected`, `leave_one_centre_out` (subset `all` and each centre; a term `centre` is left out there).
        The corrected c statistic has the resamples' percentiles, shifted by the optimism; corrected calibration the
        percentiles of the resampled models tried on the series, as on its own resample a model's slope is about 1;
        z times their standard deviation to either side where many events ask for few resamples (`shared.resamples`).

    Source: optimism: Harrell, Lee and Mark 1996, doi:10.1002/(SICI)1097-0258(19960229)15:4<361::AID-SIM168>3.0.CO;2-4;
    its interval: Noma and others 2021, doi:10.1002/sim.9148 (from memory); leaving centres out: Steyerberg and Harrell
    2016, doi:10.1016/j.jclinepi.2015.04.005.
    """
    data = perforation_data(cases, terms)
    shared = {"analysis": ANALYSIS, "scale": "statistic"}
    df = few_patients_df(data.counts["n_patients"])
    apparent = Fit(subset="all", method=APPARENT, df=df, **shared, **data.counts)
    coefficients = _whole_model(data)
    if coefficients is None:
        why = _why_no_model(data)
        rows = [
            Fit(subset="all", method=method, **shared, **data.counts).row(term, problem=why)
            for method in (APPARENT, CORRECTED, LEAVE_OUT)
            for term in MEASURES
        ]
        return Estimates(results_table(rows), data.left_out(ANALYSIS))

    log_odds = data.design.matrix @ coefficients
    rows = measure_rows(apparent, log_odds, data.event, data.patient)
    alone = measure_rows(apparent, log_odds, data.event, np.arange(len(data.event)))
    errors = [[row["std_error"] for row in told] for told in (rows, alone)]
    effects = apparent.design_effect_rows(MEASURES, *errors)
    rows += corrected_rows(data, rows, draws)
    rows += left_out_centre_rows(data)
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects))


def measure_rows(fit: Fit, log_odds: np.ndarray, event: np.ndarray, patient: np.ndarray) -> list[dict]:
    """A row a measure, the c statistic's interval on the logit."""
    rows = []
    for term, measure in MEASURES.items():
        try:
            found = measure(log_odds, event, patient)
        except NotFitted as why:
            rows.append(fit.row(term, problem=str(why)))
            continue
        if np.isnan(found.std_error):
            rows.append(fit.row(term, found.estimate, problem=remark("one_patient_of_outcome")))
        elif not found.std_error > NO_STD_ERROR:
            rows.append(fit.row(term, found.estimate, problem=ZERO_STD_ERROR))
        elif term == "c_statistic":
            c = found.estimate
            half = critical_value(fit.df) * found.std_error / (c * (1 - c)) if 0 < c < 1 else np.nan
            limits = {"conf_low": expit(logit(c) - half), "conf_high": expit(logit(c) + half)}
            rows.append(fit.row(term, c, found.std_error, **limits, conf_level=CONF_LEVEL))
        else:
            rows.append(fit.wald_row(term, found.estimate, found.std_error, p_value=False))
    return rows


def corrected_rows(data: PerforationData, apparent: list[dict], draws: pd.DataFrame) -> list[dict]:
    """The apparent measures less their optimism."""
    n_replicates = draws["replicate"].nunique()
    judged = draws.dropna(subset=["resampled", "tried_on_series"])
    n_penalised = judged.loc[judged["penalised"].astype(bool), "replicate"].nunique()
    notes = [remark("resamples", n_resamples=n_replicates)]
    notes += [remark("resamples_penalised", n_resamples=n_penalised)] if n_penalised else []
    n_events = data.counts["n_events"]
    gate = remark("below_gate_prediction", n_events=n_events) if n_events < PREDICTION else ""
    fit = Fit(analysis=ANALYSIS, subset="all", scale="statistic", method=CORRECTED, note=joined(*notes), **data.counts)
    rows = []
    for row in apparent:
        drawn = judged[judged["term"] == row["term"]]
        if row["problem"] or len(drawn) < 2:
            why = row["problem"] or remark("no_resample_judged")
            rows.append(fit.row(row["term"], problem=why))
            continue
        optimism = float((drawn["resampled"] - drawn["tried_on_series"]).mean())
        estimate = row["estimate"] - optimism
        discriminates = row["term"] == "c_statistic"
        spread = drawn["resampled"] - optimism if discriminates else drawn["tried_on_series"]
        percentiles = gives_percentiles(n_replicates, n_events)
        if percentiles:
            low, high = np.quantile(spread, [(1 - CONF_LEVEL) / 2, (1 + CONF_LEVEL) / 2])
        else:
            low, high = estimate + critical_value(None) * float(spread.std()) * np.array([-1, 1])
        limits = {"conf_low": min(low, estimate), "conf_high": max(high, estimate), "conf_level": CONF_LEVEL}
        unjudged = n_replicates - len(drawn)
        note = joined(
            *notes,
            gate,
            remark("resamples_not_judged", n_resamples=unjudged) if unjudged else "",
            remark(
                "spread_of_resamples"
                if not percentiles
                else "percentiles_shifted"
                if discriminates
                else "percentiles_tried_on_series"
            ),
        )
        rows.append(fit.row(row["term"], estimate, float(spread.std()), **limits, note=note, headline=not gate))
    return rows


def left_out_centre_rows(data: PerforationData) -> list[dict]:
    """Each centre's sites predicted by a model without them; then all of them together.

    Of more than MOST_REFITS centres of more than LARGE_SERIES sites several are left out together.
    """
    own = np.array([name.startswith("centre[") for name in data.design.names])  # unknown of a centre not yet seen
    x = data.design.matrix[:, ~own]
    centre = as_levels(data.table["centre"])
    present = levels_present(centre)
    together = len(present) > MOST_REFITS and len(data.event) > LARGE_SERIES
    n_models = MOST_REFITS if together else len(present)
    note = joined(
        remark("without_centre") if own.any() else "",
        remark("centres_left_out_together", n_models=n_models) if together else "",
    )
    shared = {"analysis": ANALYSIS, "scale": "statistic", "method": LEAVE_OUT, "note": note}
    whole = _fit_of(data, np.ones(len(data.event), bool), "all", shared)
    if len(present) < 2:
        return [whole.row(term, problem=remark("one_centre")) for term in MEASURES]
    log_odds = np.full(len(data.event), np.nan)
    for start in range(n_models):
        out = np.asarray(centre.isin(present[start::n_models]))
        coefficients, _ = refitted_coefficients(x[~out], data.event[~out], data.patient[~out])
        if coefficients is not None:
            log_odds[out] = x[out] @ coefficients
    predicted, rows = np.isfinite(log_odds), []
    for level in present:
        here = np.asarray(centre == level)
        fit = _fit_of(data, here, f"centre={level}", shared)
        if predicted[here].all():
            rows += measure_rows(fit, log_odds[here], data.event[here], data.patient[here])
        else:
            rows += [fit.row(term, problem=remark("other_centres_not_fitted")) for term in MEASURES]
    if not predicted.any():
        return [whole.row(term, problem=remark("other_centres_not_fitted")) for term in MEASURES] + rows
    whole = _fit_of(data, predicted, "all", shared)
    return measure_rows(whole, log_odds[predicted], data.event[predicted], data.patient[predicted]) + rows


def _fit_of(data: PerforationData, which: np.ndarray, subset: str, shared: dict) -> Fit:
    """What the rows share that rest on some of the sites used."""
    n_patients = len(pd.unique(data.patient[which]))
    return Fit(
        subset=subset,
        n_sites=int(which.sum()),
        n_patients=n_patients,
        n_events=int(data.event[which].sum()),
        df=few_patients_df(n_patients),
        **shared,
    )


def _whole_model(data: PerforationData) -> np.ndarray | None:
    return None if _why_no_model(data) else refitted_coefficients(data.design.matrix, data.event, data.patient)[0]


def _why_no_model(data: PerforationData) -> str:
    try:
        refuse_infinite_odds(data.design, data.event)
        if len(data.design.names) < 2:
            raise NotFitted(remark("no_term_to_predict_from"))
        logistic_gee(data.design.matrix, data.event, data.patient)
    except NotFitted as why:
        return str(why)
    return ""
