"""How much units differ beyond chance: over-dispersion of their counts, and their rates drawn to the mean of all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.clustered_count import count_distribution
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted
from liftseries.estimators.logistic_normal import LogisticNormal, logistic_normal, posterior
from liftseries.models.audit.units import ONE_VIEW, Audited, audited, simulated, stream
from liftseries.models.shared.results import Estimates, Fit, results_table

OVERDISPERSION, RANDOM_EFFECTS = "audit.overdispersion", "audit.random_effects"
SIMULATED, ADAPTIVE = "simulated", "adaptive_quadrature"
FEWEST_DRAWS = 5000
FEWEST_TO_PREDICT = 5
HAIR = 1e-9
POOLED = {"pooled": "log_odds", "tau": "log_odds", "prediction_low": "risk", "prediction_high": "risk"}


def fit_audit_between(
    cases: pd.DataFrame,
    by: str,
    period: Sequence[int],
    centre: str,
    standard: float | None,
    expected: Mapping[str, Mapping],
    resamples: int,
    seed: int,
) -> Estimates:
    """Whether the units' counts scatter more than chance, and what the rate of each is likely to be.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by, period, centre, standard, expected : see `audited`
    resamples, seed : how often counts are drawn (at least 5000 times), and from where random numbers start

    Returns
    -------
    Estimates
        `audit.overdispersion`: `statistic`, with the p-value, and `expected`. `audit.random_effects`: POOLED of all,
        `rate` of each unit with the 2.5 and 97.5 % quantiles of its posterior.

    Source: see `logistic_normal`; Spiegelhalter 2005, doi:10.1002/sim.1970, on over-dispersed funnels.
    """
    audit = audited(cases, by, period, centre, standard, expected)
    why = "" if audit.n_events >= ONE_VIEW else remark("below_gate_audit", n_events=audit.n_events)
    if by not in cases:
        why = remark("column_absent")
    elif not why and audit.event.all():
        why = remark("all_perforated")
    seen = [number for number in range(len(audit.names)) if audit.members(number).any()]
    if not why and len(seen) < 2:
        why = remark("too_few_units")
    rows = [*overdispersion_rows(audit, seen, why, max(resamples, FEWEST_DRAWS), seed)]
    rows += random_effects_rows(audit, seen, why)
    left_out = pd.concat([audit.left_out(name) for name in (OVERDISPERSION, RANDOM_EFFECTS)], ignore_index=True)
    return Estimates(results_table(rows), left_out)


def design_effect(sizes: np.ndarray, correlation: float) -> float:
    """D = 1 + ρ (Σ m² / n - 1) of the patients of a unit; `sizes` m has shape (K,)."""
    return float(1 + correlation * ((sizes**2).sum() / sizes.sum() - 1))


def sizes_of(patient: np.ndarray) -> np.ndarray:
    """Sites of each patient, shape (K,)."""
    return np.bincount(cluster_codes(patient)[0])


def overdispersion_rows(audit: Audited, seen: Sequence[int], why: str, n_draws: int, seed: int) -> list[dict]:
    """The statistic about the series' rate, what it is expected to be, and how rarely it would be so large."""
    everyone = np.ones(len(audit.event), bool)
    fit = Fit(OVERDISPERSION, "all", "statistic", SIMULATED, **audit.counts(everyone))
    if why:
        return [fit.row(term, problem=why) for term in ("statistic", "expected")]
    rate, statistic, expected, drawn = audit.rate, 0.0, 0.0, np.zeros(n_draws)
    for number in seen:
        members = audit.members(number)
        sizes, n, x = sizes_of(audit.patient[members]), int(members.sum()), int(audit.event[members].sum())
        spread = n * rate * (1 - rate)
        statistic += (x - n * rate) ** 2 / spread
        expected += design_effect(sizes, audit.correlation)
        random = stream(seed, OVERDISPERSION, audit.names[number])
        below = np.cumsum(count_distribution(sizes, rate, audit.correlation))
        counts = np.searchsorted(below[:-1], random.random(n_draws), side="right")
        drawn += (counts - n * rate) ** 2 / spread
    p_value = (1 + (drawn >= statistic * (1 - HAIR)).sum()) / (1 + n_draws)
    note = simulated(n_draws, np.sqrt(p_value * (1 - p_value) / n_draws))
    return [
        fit.row("statistic", statistic, p_value=p_value, note=note, headline=True),
        fit.row("expected", expected, headline=True),
    ]


def random_effects_rows(audit: Audited, seen: Sequence[int], why: str) -> list[dict]:
    """The model of all units, and each unit's rate drawn to their mean."""
    everyone = np.ones(len(audit.event), bool)
    fit = Fit(RANDOM_EFFECTS, "all", "", ADAPTIVE, **audit.counts(everyone))
    units = [
        Fit(RANDOM_EFFECTS, audit.subset(name), "risk", ADAPTIVE, **audit.counts(audit.members(number)))
        for number, name in enumerate(audit.names)
    ]
    effects = [design_effect(sizes_of(audit.patient[audit.members(number)]), audit.correlation) for number in seen]
    x, n = (np.array([getattr(units[k], name) for k in seen], float) for name in ("n_events", "n_sites"))
    x, n = x / np.array(effects), n / np.array(effects)
    try:
        model = None if why else logistic_normal(x, n)
    except NotFitted as refused:
        why = str(refused)
    if why:
        rows = [fit.row(term, scale=scale, problem=why) for term, scale in POOLED.items()]
        return rows + [unit.row("rate", problem=why) for unit in units]
    rows = pooled_rows(fit, model, FEWEST_TO_PREDICT)
    of_unit = dict(zip(seen, posterior(model, x, n), strict=True))
    for number, unit in enumerate(units):
        if number not in of_unit:
            rows.append(unit.row("rate", problem=remark("no_site_in_period")))
            continue
        mean, low, high = of_unit[number]
        limits = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
        rows.append(unit.row("rate", mean, **limits, headline=True))
    return rows


def pooled_rows(fit: Fit, model: LogisticNormal, fewest: int) -> list[dict]:
    """Mean and standard deviation on the log odds, and the risks between which a further unit's lies.

    Parameters
    ----------
    fit : what the rows share
    model
    fewest : units needed for a prediction
    """
    mean = Fit(
        fit.analysis, fit.subset, POOLED["pooled"], fit.method, fit.n_sites, fit.n_patients, fit.n_events, note=fit.note
    ).wald_row("pooled", model.mean, model.std_error, p_value=False)
    rows = [mean | {"headline": True}, fit.row("tau", model.sd, scale=POOLED["tau"], headline=True)]
    for term, risk in zip(("prediction_low", "prediction_high"), model.prediction(), strict=True):
        if model.n_units < fewest:
            rows.append(fit.row(term, scale=POOLED[term], problem=remark("too_few_units_to_predict")))
        else:
            rows.append(fit.row(term, risk, scale=POOLED[term], df=model.n_units - 2, headline=True))
    return rows
