"""Ways to a standardised risk: Firth's model and the GEE of the quoted terms; the GEE with a measure as a spline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.gee import GeeFit, logistic_gee
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value, few_patients_df
from liftseries.estimators.spline import knots_of, restricted_cubic_spline
from liftseries.models.perforation.firth import penalised
from liftseries.models.perforation.gee import bias_reduced_note
from liftseries.models.perforation.quoted import Quoted
from liftseries.models.perforation.standardised import BEND, PenalisedRisk, Risk, RiskModel
from liftseries.models.shared.complete_cases import PerforationData
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.levels import is_number
from liftseries.models.shared.penalised import is_instead
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Fit
from liftseries.models.shared.separation import refuse_infinite_odds

FIRTH, GEE, STANDARDISED = "firth", "gee", "standardised"
# With four knots two columns bend, `BEND` and `rows_with` take two, and the outer knots move (`release/masking.py`).
N_KNOTS = 3
SEEN = (0.01, 0.99)  # quantiles beyond which a contrast would be a guess


@dataclass(frozen=True)
class Way:
    """One way to a risk.

    Attributes
    ----------
    method : code of its rows
    model : a text where it could not be fitted, that says why
    data : the sites used
    notes : remarks for a reader of its rows
    quoted : whether its rows are the ones that the report quotes
    df : of t
    """

    method: str
    model: RiskModel | PenalisedRisk | str
    data: PerforationData
    notes: tuple[str, ...] = ()
    quoted: bool = False
    df: float | None = None

    def fit(self, analysis: str, subset: str, scale: str, *more: str) -> Fit:
        """What its rows of an analysis share; `more` are further notes, which go first."""
        note = joined(*more, *self.notes)
        return Fit(analysis, subset, scale, self.method, df=self.df, note=note, **self.data.counts)

    def row(self, fit: Fit, term: str, settings: Sequence[tuple[str, object]]) -> tuple[list[dict], list[dict]]:
        """The row of a risk, or of a difference of two, and its design effect; a problem where the model refuses."""
        try:
            if isinstance(self.model, str):
                raise NotFitted(self.model)
            refuse_unseen(self.data.table, settings)
            risk = self.model.risk(*settings)
        except NotFitted as why:
            return [fit.row(term, problem=str(why))], []
        times = 1 if len(settings) == 1 else 100
        if np.isnan(risk.std_error):
            return [fit.row(term, times * risk.mean, problem=self.model.why_no_interval)], []
        row = risk_row(fit, term, risk) if times == 1 else fit.wald_row(term, 100 * risk.mean, 100 * risk.std_error)
        row |= {"headline": self.quoted and not np.isnan(row["estimate"])}
        return [row], fit.design_effect_rows([term], [risk.std_error], [risk.naive_std_error])


def quoted_ways(quoted: Quoted) -> list[Way]:
    """Firth's model and the GEE of the same terms; the one whose ratio is quoted gives the risks that are.

    Firth's is not fitted where events are so many that the GEE is quoted.
    """
    data = quoted.data
    first = remark("first_terms", n_terms=len(quoted.terms)) if quoted.first_terms else ""
    try:
        if is_instead(quoted.firth_gate):
            raise NotFitted(quoted.firth_gate)
        model = PenalisedRisk(penalised(data, profile=False))
        notes, df = (*model.notes, first, quoted.firth_gate), model.df
    except NotFitted as why:
        model, notes, df = str(why), (*data.design.notes, first, quoted.firth_gate), None
    return [
        Way(FIRTH, model, data, tuple(notes), not quoted.firth_gate, df),
        gee_way(GEE, data, True, (first, quoted.gee_gate), quoted=quoted.gee is not None, fitted=quoted.gee),
    ]


def gee_way(
    method: str,
    data: PerforationData,
    corrected: bool,
    more: tuple[str, ...] = (),
    quoted: bool = False,
    fitted: GeeFit | None = None,
) -> Way:
    """The GEE of some terms, fitted unless it is there already, or why it has no answer."""
    n_patients = data.counts["n_patients"]
    df = few_patients_df(n_patients, len(data.design.names))
    t = remark("t_less_coefficients") if df is not None else ""
    notes = (t if corrected else bias_reduced_note(n_patients), *more)
    try:
        if fitted is None:
            refuse_infinite_odds(data.design, data.event)
        fit = fitted or logistic_gee(data.design.matrix, data.event, data.patient)
        if corrected:
            fit.bias_reduced()
    except NotFitted as why:
        return Way(method, str(why), data, notes)
    model = RiskModel(data, fit, corrected=corrected)
    return Way(method, model, data, (*notes, *model.notes), quoted, df)


def spline_way(data: PerforationData, exposure: str) -> Way:
    """The GEE with the exposure as a spline, or why there is none."""
    refused = Way(STANDARDISED, "", data, (bias_reduced_note(data.counts["n_patients"]),))
    if exposure in data.design.problems:
        return replace(refused, model=data.design.problems[exposure])
    values = data.table[exposure].to_numpy(float)
    knots = knots_of(values, N_KNOTS)
    if len(knots) < N_KNOTS:
        return replace(refused, model=remark("too_few_values_for_curve", column=exposure))
    bent = data.table.assign(**{exposure + BEND: restricted_cubic_spline(values, knots)[:, 1]})
    others = [name for name in dict.fromkeys(n.partition("[")[0] for n in data.design.names[1:]) if name != exposure]
    design = design_matrix(bent, [exposure, exposure + BEND, *others])
    if exposure + BEND in design.problems:
        return replace(refused, model=remark("too_few_values_for_curve", column=exposure))
    way = gee_way(STANDARDISED, replace(data, design=design), corrected=False)
    if isinstance(way.model, str):
        return replace(refused, model=way.model)
    told = remark("knots", knots=np.round(knots, 3))
    return replace(
        way,
        model=replace(way.model, exposure=exposure, knots=knots),
        notes=(way.notes[0], told, *way.notes[1:]),
    )


def risk_row(fit: Fit, term: str, risk: Risk) -> dict:
    """A risk with its interval on the logit."""
    if not risk.std_error > NO_STD_ERROR:
        return fit.row(term, problem=ZERO_STD_ERROR)
    half = critical_value(fit.df) * risk.std_error / (risk.mean * (1 - risk.mean))
    centre = np.log(risk.mean / (1 - risk.mean))
    limits = {"conf_low": float(expit(centre - half)), "conf_high": float(expit(centre + half))}
    return fit.row(term, risk.mean, risk.std_error, **limits, conf_level=CONF_LEVEL)


def refuse_unseen(table: pd.DataFrame, settings: Sequence[tuple[str, object]]) -> None:
    """Raise NotFitted where a number of a contrast lies beyond what was seen, or is none."""
    column = settings[0][0]
    if len(settings) < 2 or column not in table or not is_number(table[column]):
        return
    try:
        numbers = [float(value) for _, value in settings]
    except ValueError:
        raise NotFitted(remark("contrast_needs_numbers", column=column)) from None
    low, high = np.nanquantile(table[column].to_numpy(float, na_value=np.nan), SEEN)
    for number in numbers:
        if not low <= number <= high:
            raise NotFitted(remark("beyond_sites_used", column=column, value=number, low=low, high=high))
