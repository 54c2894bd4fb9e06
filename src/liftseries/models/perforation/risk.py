"""The risk of a perforation along residual height and planned lift, as if every site had the same: standardised risks.

A risk is averaged over all sites used, each with its own other terms, with one measure set to a value. The measure
enters the model as a restricted cubic spline, so that nothing forces the risk to climb along a straight line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.gee import GeeFit, logistic_gee
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value
from liftseries.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.perforation.gee import ANALYSIS as GEE
from liftseries.models.perforation.gee import bias_reduced_note
from liftseries.models.shared.complete_cases import PerforationData, perforation_data
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.levels import as_levels, is_number, levels_present
from liftseries.models.shared.results import (
    NO_STD_ERROR,
    ZERO_STD_ERROR,
    Estimates,
    Fit,
    few_events_note,
    results_table,
)
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_odds

EXPOSURES = {"rbh_mid_mm": "perforation.risk", "protrusion_mm": "perforation.risk_lift"}
NONLINEARITY, DIFFERENCE, BAND = "perforation.nonlinearity", "perforation.risk_difference", "perforation.risk_band"
STANDARDISED, SPLINE = "standardised", "spline"
N_KNOTS = (
    3  # one column bends: with four, `bent` and `rows_with` take two, and the outer knots move (`release/masking.py`)
)
BEND = " bent"  # what is added to the name of an exposure for its non-linear column
WITHIN = (0.05, 0.95)  # quantiles between which the risk is drawn
SEEN = (0.01, 0.99)  # quantiles beyond which a contrast would be a guess
STEP_MM, CURVE_STEP_MM, NEAR_MM = 0.5, 0.25, 0.5
CURVES = ("exposure", "value_mm", "risk", "conf_low", "conf_high", "n_sites")


@dataclass(frozen=True)
class RiskEstimates(Estimates):
    """Standardised risks, and what their figure is drawn from.

    Attributes
    ----------
    curves : `exposure, value_mm, risk, conf_low, conf_high, n_sites`
        n_sites are those used whose value lies within half a millimetre.
    """

    curves: pd.DataFrame


@dataclass(frozen=True)
class Risk:
    """A standardised risk or difference, its standard error, and the one of independent sites."""

    mean: float
    std_error: float
    naive_std_error: float


@dataclass(frozen=True)
class RiskModel:
    """A fitted GEE that risks are standardised from.

    Attributes
    ----------
    data : the sites used and their design
    fit : of `logistic_gee`
    exposure : the measure that enters as a spline, "" where none does
    knots : of it
    """

    data: PerforationData
    fit: GeeFit
    exposure: str = ""
    knots: np.ndarray | None = None

    @property
    def notes(self) -> list[str]:
        """Remarks for a reader of what comes from the model."""
        few = few_events_note(int(self.data.event.sum()), len(self.data.design.names) - 1)
        return [*few, *self.data.design.notes, self.fit.remark]

    def rows_with(self, column: str, value) -> np.ndarray:
        """The design with one column's value set for every site, shape (n, p).

        Raises NotFitted where the column or the level is not in the model.
        """
        names, matrix = np.array(self.data.design.names), self.data.design.matrix.copy()
        if column == self.exposure:
            line = restricted_cubic_spline(np.array([float(value)]), self.knots)[0]
            matrix[:, names == column], matrix[:, names == column + BEND] = line
            return matrix
        if column in names:
            matrix[:, names == column] = float(value)
            return matrix
        levels, level = self.data.design.factors.get(column), _written(value)
        if levels is None:
            why = self.data.design.problems.get(column, remark("term_absent", column=column))
            raise NotFitted(why)
        if level not in levels_present(levels):
            raise NotFitted(remark("level_absent", column=column, level=level))
        if aliased := self.data.design.problems.get(f"{column}[{level}]"):
            raise NotFitted(aliased)
        for k, name in enumerate(names):
            if name.startswith(f"{column}["):
                matrix[:, k] = float(name == f"{column}[{level}]")
        return matrix

    def risk(self, *settings: tuple[str, object]) -> Risk:
        """Mean risk with a column set, or the difference between two settings.

        Uncertain are the coefficients (delta method on the clustered covariance) and which patients there were
        (variance of their sums, K / (K - 1)). The whole variance is taken m / (m - 1) times, m the patients with a
        perforation: it is they that the clustered covariance comes from, and simulated series ask for it.
        """
        signs = (1.0,) if len(settings) == 1 else (-1.0, 1.0)
        site_risk, gradient = 0.0, 0.0
        for sign, (column, value) in zip(signs, settings, strict=True):
            matrix = self.rows_with(column, value)
            p = expit(matrix @ self.fit.coefficients)
            site_risk = site_risk + sign * p
            gradient = gradient + sign * (p * (1 - p)) @ matrix / len(p)
        mean = float(site_risk.mean())
        codes, k = cluster_codes(self.data.patient)
        sums = np.bincount(codes, weights=site_risk - mean, minlength=k) / len(site_risk)
        variance = gradient @ self.fit.covariance @ gradient + k / (k - 1) * sums @ sums
        m = len(np.unique(codes[self.data.event]))
        naive = gradient @ self.fit.naive_covariance @ gradient + site_risk.var() / len(site_risk)
        return Risk(mean, float(np.sqrt(variance * m / max(m - 1, 1))), float(np.sqrt(naive)))


def fit_perforation_risk(cases: pd.DataFrame, terms: Sequence[str], contrasts: Mapping[str, Sequence]) -> RiskEstimates:
    """Standardised risks along residual height and planned lift, by band, and their differences.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`, as for `fit_perforation_gee`
    contrasts : column -> (from, to)
        Of each, the risk at `to` less that at `from`.

    Returns
    -------
    RiskEstimates
        `perforation.risk` and `perforation.risk_lift` (term = mm, scale `risk`), `perforation.risk_band` (a band a
        subset), `perforation.nonlinearity` (the spline's non-linear coefficient, scale `log_odds`) and
        `perforation.risk_difference` (scale `per 100 sites`). Intervals of risks are on the logit.

    Source: standardisation: Localio, Margolis and Berlin 2007, doi:10.1016/j.jclinepi.2006.12.001; spline: see
    `restricted_cubic_spline`; model: see `logistic_gee`.
    """
    models: dict[str, RiskModel | str] = {}
    rows, effects, curves, left_out = [], [], [], []
    for exposure, analysis in EXPOSURES.items():
        data = perforation_data(cases, terms_along(exposure, terms))
        models[exposure] = _spline_model(data, exposure)
        told, told_effects, curve = exposure_rows(analysis, exposure, data, models[exposure])
        rows += told
        effects += told_effects
        curves.append(curve)
        left_out.append(data.left_out(analysis))
    data = perforation_data(cases, terms)
    models[""] = _fitted(data)
    for told, told_effects in (band_rows(cases, terms), difference_rows(data, models, contrasts)):
        rows += told
        effects += told_effects
    return RiskEstimates(
        results_table(rows),
        pd.concat(left_out, ignore_index=True),
        design_effects=results_table(effects),
        curves=pd.concat([c for c in curves if len(c)] or curves[:1]),
    )


def terms_along(exposure: str, terms: Sequence[str]) -> list[str]:
    """Terms of the model with the exposure as a spline: it goes first."""
    return [exposure, *[term for term in terms if term != exposure]]


def terms_by_band(terms: Sequence[str]) -> list[str]:
    """Terms of the model with the band of residual height in place of the height."""
    return ["rbh_band", *[term for term in terms if term != "rbh_mid_mm"]]


def _spline_model(data: PerforationData, exposure: str) -> RiskModel | str:
    """The model with the exposure as a spline, or why there is none."""
    if exposure in data.design.problems:
        return data.design.problems[exposure]
    values = data.table[exposure].to_numpy(float)
    knots = knots_of(values, N_KNOTS)
    if len(knots) < N_KNOTS:
        return remark("too_few_values_for_curve", column=exposure)
    bent = data.table.assign(**{exposure + BEND: restricted_cubic_spline(values, knots)[:, 1]})
    others = [name for name in dict.fromkeys(n.partition("[")[0] for n in data.design.names[1:]) if name != exposure]
    design = design_matrix(bent, [exposure, exposure + BEND, *others])
    if exposure + BEND in design.problems:
        return remark("too_few_values_for_curve", column=exposure)
    model = _fitted(replace(data, design=design))
    return model if isinstance(model, str) else replace(model, exposure=exposure, knots=knots)


def _fitted(data: PerforationData) -> RiskModel | str:
    try:
        refuse_infinite_odds(data.design, data.event)
        return RiskModel(data, logistic_gee(data.design.matrix, data.event, data.patient))
    except NotFitted as why:
        return str(why)


def exposure_rows(analysis: str, exposure: str, data: PerforationData, model: RiskModel | str):
    """Risks along one measure with the non-linear coefficient, their design effects, and the curve."""
    shared = {"subset": "all", **data.counts}
    notes = [bias_reduced_note(shared["n_patients"])]
    if not isinstance(model, str):
        notes += [remark("knots", knots=np.round(model.knots, 3)), *model.notes]
    shared |= {"note": joined(*notes), "df": None if isinstance(model, str) else model.fit.df}
    fit = Fit(analysis=analysis, scale="risk", method=STANDARDISED, **shared)
    bend = Fit(analysis=NONLINEARITY, scale="log_odds", method=SPLINE, **shared)
    if isinstance(model, str):
        rows = [fit.row("along it", problem=model), bend.row(exposure, problem=model)]
        return rows, [], pd.DataFrame(columns=list(CURVES))

    values = data.table[exposure].to_numpy(float)
    low, high = np.quantile(values, WITHIN)
    risks = {f"{mm:g}": model.risk((exposure, mm)) for mm in _grid(low, high, STEP_MM)}
    rows = [risk_row(fit, term, risk) for term, risk in risks.items()]
    effects = [fit.design_effect_row(term, risk.std_error, risk.naive_std_error) for term, risk in risks.items()]
    k = model.data.design.names.index(exposure + BEND)
    rows.append(coefficient_row(bend, exposure, model.fit.coefficients[k], model.fit.std_error[k]))
    effects += bend.design_effect_rows([exposure], [model.fit.std_error[k]], [model.fit.naive_std_error[k]])

    points = [
        (exposure, mm, row["estimate"], row["conf_low"], row["conf_high"], int((np.abs(values - mm) <= NEAR_MM).sum()))
        for mm in _grid(low, high, CURVE_STEP_MM)
        for row in [risk_row(fit, "", model.risk((exposure, mm)))]
    ]
    return rows, effects, pd.DataFrame(points, columns=list(CURVES))


def risk_row(fit: Fit, term: str, risk: Risk) -> dict:
    """A risk with its interval on the logit."""
    if not risk.std_error > NO_STD_ERROR:
        return fit.row(term, problem=ZERO_STD_ERROR)
    half = critical_value(fit.df) * risk.std_error / (risk.mean * (1 - risk.mean))
    centre = np.log(risk.mean / (1 - risk.mean))
    limits = {"conf_low": float(expit(centre - half)), "conf_high": float(expit(centre + half))}
    return fit.row(term, risk.mean, risk.std_error, **limits, conf_level=CONF_LEVEL)


def band_rows(cases: pd.DataFrame, terms: Sequence[str]) -> tuple[list[dict], list[dict]]:
    """Risks by band of residual height in place of the height: secondary, since bands throw away most of it."""
    data = perforation_data(cases, terms_by_band(terms))
    model = _fitted(data)
    df, notes = (None, []) if isinstance(model, str) else (model.fit.df, model.notes)
    shared = {
        "method": STANDARDISED,
        "df": df,
        "note": joined(bias_reduced_note(data.counts["n_patients"]), *notes),
        **data.counts,
    }
    rows, effects = [], []
    for level in levels_present(as_levels(cases["rbh_band"])):
        fit = Fit(analysis=BAND, subset=f"rbh_band={level}", scale="risk", **shared)
        try:
            if isinstance(model, str):
                raise NotFitted(model)
            risk = model.risk(("rbh_band", level))
            rows.append(risk_row(fit, "risk", risk))
            effects.append(fit.design_effect_row("risk", risk.std_error, risk.naive_std_error))
        except NotFitted as why:
            rows.append(fit.row("risk", problem=str(why)))
    return rows, effects


def difference_rows(
    data: PerforationData, models: Mapping[str, RiskModel | str], contrasts
) -> tuple[list[dict], list[dict]]:
    """A row a contrast of the plan, more perforations per 100 sites; and their design effects."""
    rows, effects = [], []
    for column, (start, end) in contrasts.items():
        model = models.get(column, models[""])
        used = model.data if isinstance(model, RiskModel) else data
        notes = [
            remark("from_spline") if column in models else remark("from_model", analysis=GEE),
            bias_reduced_note(used.counts["n_patients"]),
            *(model.notes if isinstance(model, RiskModel) else []),
        ]
        fit = Fit(
            analysis=DIFFERENCE,
            subset="all",
            scale="per 100 sites",
            method=STANDARDISED,
            df=model.fit.df if isinstance(model, RiskModel) else None,
            note=joined(*notes),
            **used.counts,
        )
        term = f"{column}: {_written(start)} to {_written(end)}"
        try:
            if isinstance(model, str):
                raise NotFitted(model)
            _refuse_unseen(used.table, column, (start, end))
            difference = model.risk((column, start), (column, end))
        except NotFitted as why:
            rows.append(fit.row(term, problem=str(why)))
        else:
            rows.append(fit.wald_row(term, 100 * difference.mean, 100 * difference.std_error))
            effects += fit.design_effect_rows([term], [difference.std_error], [difference.naive_std_error])
    return rows, effects


def _refuse_unseen(table: pd.DataFrame, column: str, values) -> None:
    """Raise NotFitted where a number lies beyond what was seen, or is none."""
    if column not in table or not is_number(table[column]):
        return
    try:
        numbers = [float(value) for value in values]
    except ValueError:
        raise NotFitted(remark("contrast_needs_numbers", column=column)) from None
    low, high = np.nanquantile(table[column].to_numpy(float, na_value=np.nan), SEEN)
    for number in numbers:
        if not low <= number <= high:
            raise NotFitted(remark("beyond_sites_used", column=column, value=number, low=low, high=high))


def _written(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()  # as levels of true/false are called
    return str(value) if isinstance(value, str) else f"{value:g}"


def _grid(low: float, high: float, step: float) -> np.ndarray:
    """Round values from low to high; the middle where none lies between."""
    grid = np.arange(np.ceil(round(low / step, 6)), np.floor(round(high / step, 6)) + 1) * step
    return grid if len(grid) else np.array([round((low + high) / 2, 2)])
