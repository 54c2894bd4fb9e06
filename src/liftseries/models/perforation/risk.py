"""The risk of a perforation along residual height and planned lift, as if every site had the same: standardised risks.

A risk is averaged over all sites used, each with its own other terms, with one measure set to a value. The risks that
the report quotes come from the model whose ratio it quotes. Beside it the measure enters as a restricted cubic spline,
so that nothing forces the risk to climb along a straight line: that is the curve that is drawn, from 20 events on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, names_in, remark
from liftseries.models.perforation.quoted import GEE as GEE_ANALYSIS
from liftseries.models.perforation.quoted import counted, quoted_model
from liftseries.models.perforation.standardised import BEND, written
from liftseries.models.perforation.ways import SEEN, STANDARDISED, Way, gee_way, quoted_ways, spline_way
from liftseries.models.shared.complete_cases import PerforationData, perforation_data
from liftseries.models.shared.gates import SPLINE as SPLINE_EVENTS
from liftseries.models.shared.gates import ratio_gate
from liftseries.models.shared.levels import as_levels, levels_present
from liftseries.models.shared.results import Estimates, results_table
from liftseries.models.shared.separation import coefficient_row

EXPOSURES = {"rbh_mid_mm": "perforation.risk", "protrusion_mm": "perforation.risk_lift"}
NONLINEARITY, DIFFERENCE, BAND = "perforation.nonlinearity", "perforation.risk_difference", "perforation.risk_band"
SPLINE = "spline"
WITHIN = (0.05, 0.95)  # quantiles between which the risk is drawn
STEP_MM, CURVE_STEP_MM, NEAR_MM = 0.5, 0.25, 0.5
CURVES = ("exposure", "method", "value_mm", "risk", "conf_low", "conf_high", "n_sites")


@dataclass(frozen=True)
class RiskEstimates(Estimates):
    """Standardised risks, and what their figure is drawn from.

    Attributes
    ----------
    curves : `exposure, method, value_mm, risk, conf_low, conf_high, n_sites`
        The spline from 20 events on, below it the straight line on the logit, none where no ratio is quoted.
        n_sites are those used whose value lies within half a millimetre.
    """

    curves: pd.DataFrame


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
        `perforation.risk_difference` (scale `per 100 sites`). Intervals of risks are on the logit. Methods: `firth` and
        `gee`, of which that of the quoted ratio is the headline; `standardised` takes residual height and planned lift
        as splines.

    Source: standardisation: Localio, Margolis and Berlin 2007, doi:10.1016/j.jclinepi.2006.12.001; spline: see
    `restricted_cubic_spline`; models: see `logistic_gee`, `firth_logistic` and `StandardisedRisks`.
    """
    found = _Found([], [], [], [])
    ways: dict[str, list[Way]] = {}
    for exposure, analysis in EXPOSURES.items():
        along = terms if exposure in terms else terms_along(exposure, terms)
        spline_data = perforation_data(cases, terms_along(exposure, terms))
        ways[exposure] = [*quoted_ways(quoted_model(cases, along, exposure)), spline_way(spline_data, exposure)]
        found.add_exposure(analysis, exposure, ways[exposure], contrasts.get(exposure, ()))
        found.left_out.append(spline_data.left_out(analysis))
    found.add_bands(cases, terms)
    found.add_differences(cases, terms, ways, contrasts)
    return RiskEstimates(
        results_table(found.rows),
        pd.concat(found.left_out, ignore_index=True),
        design_effects=results_table(found.effects),
        curves=pd.concat([c for c in found.curves if len(c)] or found.curves[:1]),
    )


def terms_along(exposure: str, terms: Sequence[str]) -> list[str]:
    """Terms of the model with the exposure as a spline: it goes first."""
    return [exposure, *[term for term in terms if term != exposure]]


def terms_by_band(terms: Sequence[str]) -> list[str]:
    """Terms of the model with the band of residual height in place of the height."""
    return ["rbh_band", *[term for term in terms if term != "rbh_mid_mm"]]


@dataclass(frozen=True)
class _Found:
    """Rows, design effects, curves and sites left out, as they come."""

    rows: list[dict]
    effects: list[dict]
    curves: list[pd.DataFrame]
    left_out: list[pd.DataFrame]

    def add(self, told: tuple[list[dict], list[dict]]) -> None:
        """Takes rows and their design effects."""
        self.rows.extend(told[0])
        self.effects.extend(told[1])

    def add_exposure(self, analysis: str, exposure: str, ways: Sequence[Way], contrast: Sequence) -> None:
        """Risks along one measure by every way, the non-linear coefficient, and the curve."""
        for way in ways:
            fit = way.fit(analysis, "all", "risk")
            if isinstance(way.model, str) or exposure not in way.data.design.names:
                why = way.model if isinstance(way.model, str) else way.data.design.problems.get(exposure, "")
                self.rows.append(fit.row("along it", problem=why))
                continue
            for mm in heights(way.data, exposure, contrast):
                self.add(way.row(fit, f"{mm:g}", [(exposure, mm)]))
        self.add(bend_rows(exposure, ways[-1]))
        self.curves.append(curve_of(analysis, exposure, ways))

    def add_bands(self, cases: pd.DataFrame, terms: Sequence[str]) -> None:
        """Risks by band of residual height in place of the height: secondary, as bands throw away most of it.

        What the report quotes of a band is its share of sites.
        """
        by_band = terms_by_band(terms)
        plain = gee_way(STANDARDISED, perforation_data(cases, by_band), corrected=False)
        for way in (*quoted_ways(quoted_model(cases, by_band, "rbh_band")), plain):
            for level in levels_present(as_levels(cases["rbh_band"])):
                fit = way.fit(BAND, f"rbh_band={level}", "risk")
                self.add(replace(way, quoted=False).row(fit, "risk", [("rbh_band", level)]))

    def add_differences(self, cases, terms, ways: Mapping[str, Sequence[Way]], contrasts) -> None:
        """A row a contrast of the plan and way, more perforations per 100 sites; and their design effects."""
        plain = gee_way(STANDARDISED, perforation_data(cases, terms), corrected=False)
        for column, (start, end) in contrasts.items():
            of_column = ways.get(column) or [*quoted_ways(quoted_model(cases, terms, column)), plain]
            for way in of_column:
                fit = way.fit(DIFFERENCE, "all", "per 100 sites", where_from(way, column in ways))
                term = f"{column}: {written(start)} to {written(end)}"
                self.add(way.row(fit, term, [(column, start), (column, end)]))


def where_from(way: Way, along: bool) -> str:
    """Which model a difference of method `standardised` comes from, as a remark."""
    if way.method != STANDARDISED:
        return ""
    return remark("from_spline") if along else remark("from_model", analysis=GEE_ANALYSIS)


def bend_rows(exposure: str, way: Way) -> tuple[list[dict], list[dict]]:
    """The spline's non-linear coefficient, quoted from 20 events on, and its design effect."""
    fit = way.fit(NONLINEARITY, "all", "log_odds")
    fit = replace(fit, method=SPLINE)
    if isinstance(way.model, str):
        return [fit.row(exposure, problem=way.model)], []
    gate = spline_gate(way.model.data)
    # Of events a term the gate is the rule for what is quoted.
    notes = [note for note in way.notes if "few_events" not in names_in(note)]
    fit = replace(fit, note=joined(*notes, gate))
    k = way.model.data.design.names.index(exposure + BEND)
    gee = way.model.fit
    row = coefficient_row(fit, exposure, gee.coefficients[k], gee.std_error[k])
    row |= {"headline": not gate and not np.isnan(row["estimate"])}
    return [row], fit.design_effect_rows([exposure], [gee.std_error[k]], [gee.naive_std_error[k]])


def spline_gate(data: PerforationData) -> str:
    """Why a curve is not quoted, as a remark; "" where it is."""
    n_events, n_terms = counted(data)
    return remark("below_gate_curve", n_events=n_events) if n_events < SPLINE_EVENTS else ratio_gate(n_events, n_terms)


def curve_of(analysis: str, exposure: str, ways: Sequence[Way]) -> pd.DataFrame:
    """The curve that is drawn: the spline where events carry one, else the model that is quoted; else no row."""
    spline = [way for way in ways[-1:] if not isinstance(way.model, str) and not spline_gate(way.model.data)]
    drawn = next(iter([*spline, *(way for way in ways if way.quoted and not isinstance(way.model, str))]), None)
    if drawn is None:
        return pd.DataFrame(columns=list(CURVES))
    values = drawn.data.table[exposure].to_numpy(float)
    fit = drawn.fit(analysis, "all", "risk")
    points = [
        (
            exposure,
            drawn.method,
            mm,
            row["estimate"],
            row.get("conf_low", np.nan),
            row.get("conf_high", np.nan),
            int((np.abs(values - mm) <= NEAR_MM).sum()),
        )
        for mm in grid(*np.quantile(values, WITHIN), CURVE_STEP_MM)
        for row in drawn.row(fit, "", [(exposure, mm)])[0]
    ]
    return pd.DataFrame(points, columns=list(CURVES))


def heights(data: PerforationData, exposure: str, contrast: Sequence) -> Iterable[float]:
    """Where the risk is told: half millimetres between the usual quantiles, and both ends of the plan's contrast."""
    values = data.table[exposure].to_numpy(float)
    seen = np.quantile(values, SEEN)
    ends = {float(end) for end in contrast if not isinstance(end, str) and seen[0] <= end <= seen[1]}
    return sorted({*grid(*np.quantile(values, WITHIN), STEP_MM).tolist(), *ends})


def grid(low: float, high: float, step: float) -> np.ndarray:
    """Round values from low to high; the middle where none lies between."""
    found = np.arange(np.ceil(round(low / step, 6)), np.floor(round(high / step, 6)) + 1) * step
    return found if len(found) else np.array([round((low + high) / 2, 2)])
