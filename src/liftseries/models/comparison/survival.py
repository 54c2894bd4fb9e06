"""How long implants last in each group: survival at the plan's months, months in function up to them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.g_computation import StandardisedCurves
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.kaplan_meier import kaplan_meier, numbers_at
from liftseries.estimators.weighted_curve import weighted_curve
from liftseries.models.comparison.compared import ALL, Asked, Compared, asked_of, populations
from liftseries.models.comparison.contrasts import (
    CRUDE,
    G_COMPUTATION,
    Found,
    Outcome,
    comparison_rows,
    found_or_why,
)
from liftseries.models.comparison.gates import g_computation_gate, weighted_gate
from liftseries.models.comparison.shares import model_columns, set_to_each
from liftseries.models.shared.gates import at_risk_gate, last_month_told
from liftseries.models.shared.results import Estimates, results_table
from liftseries.models.survival.corrected import by_month
from liftseries.models.survival.km import headline_rows, survival_rows

SURVIVAL, RMST = "comparison.survival", "comparison.rmst"
CURVES = ["subset", "method", "group", "months", "survival"]
AT_RISK = ["subset", "group", "months", "n_at_risk", "n_failed", "n_censored"]


@dataclass(frozen=True)
class ComparedSurvival(Estimates):
    """Survival compared.

    Attributes
    ----------
    curves : `subset, method, group, months, survival`
        Kaplan-Meier by group, crude and weighted, as far as enough implants are at risk.
    at_risk : `subset, group, months, n_at_risk, n_failed, n_censored`
        Unweighted, at 0, 12, 24 … and the plan's months.
    """

    curves: pd.DataFrame
    at_risk: pd.DataFrame


def fit_comparison_survival(
    implants: pd.DataFrame,
    cases: pd.DataFrame,
    months: Sequence[float],
    groups: str,
    reference: str,
    adjust_for: Sequence[str],
    weights: Sequence[str],
) -> ComparedSurvival:
    """Survival and restricted mean survival time of each group at given months, and their differences.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    cases, groups, reference, adjust_for, weights : as of `fit_comparison_perforation`
    months

    Returns
    -------
    ComparedSurvival
        `survival[B] at 36`, `difference[B] at 36` on the scale `probability`; `rmst[B] at 36` and its differences in
        months.

    Source: see `weighted_curve` and `StandardisedCurves`; crude survival is that of survival.km, `corrected`.
    """
    asked = asked_of(cases, groups, reference, adjust_for, weights)
    found = [_Followed(population) for population in populations(implants, {}, asked)]
    rows = [row for area in (False, True) for one in found for month in months for row in one.rows(month, area)]
    return ComparedSurvival(
        rows=results_table(rows),
        left_out=pd.concat([one.population.left_out(SURVIVAL) for one in found], ignore_index=True),
        curves=_stacked([table for one in found for table in one.curves()], CURVES),
        at_risk=_stacked([table for one in found for table in one.at_risk(months)], AT_RISK),
    )


def followed_rows(implants: pd.DataFrame, months: Sequence[float], asked: Asked, area: bool) -> list[dict]:
    """Rows of everyone alone, of survival or of the area under it."""
    found = _Followed(next(populations(implants, {}, asked, (ALL,))))
    return [row for month in months for row in found.rows(month, area)]


class _Followed:
    """The implants of a population, and what is fitted to them once for all months."""

    def __init__(self, population: Compared):
        self.population = population
        self.months = population.sites["months"].to_numpy(float)
        self.failed = population.sites["failed"].to_numpy(bool)
        self.cox = found_or_why(self._cox)
        self.weights = {kind: found_or_why(lambda kind=kind: self._weights(kind)) for kind in population.asked.weights}

    def _cox(self) -> tuple[StandardisedCurves, list[np.ndarray]]:
        columns = model_columns(self.population)[:, 1:]
        if why := g_computation_gate(self.population, int(self.failed.sum())):
            raise NotFitted(why)
        fit = StandardisedCurves.fitted(self.months, self.failed, columns, self.population.patient)
        return fit, set_to_each(self.population, columns)

    def _weights(self, kind: str):
        weights = self.population.weights(kind)
        if why := weighted_gate(self.population, weights):
            raise NotFitted(why)
        return weights

    # ── what each method says ───────────────────────────────────────────────────────────────────────────────

    def rows(self, month: float, area: bool) -> list[dict]:
        """Rows of a month, of the survival or of the area under it."""
        answers: dict[str, Found | str] = {
            CRUDE: self._by_group(np.ones(len(self.months)), month, area),
            G_COMPUTATION: self.cox if isinstance(self.cox, str) else self._standardised(month, area),
        }
        for kind, weights in self.weights.items():
            if isinstance(weights, str):
                answers[kind] = weights
                continue
            found = self._by_group(weights.value, month, area)
            answers[kind] = Found(found.value, weights.through(found.influence), found.why)
        outcome = Outcome(
            analysis=RMST if area else SURVIVAL,
            scale="months" if area else "probability",
            of_difference="months" if area else "probability_difference",
            term="rmst" if area else "survival",
            at=f" at {month:g}",
            event=self.failed & (self.months <= month),
            counted=self.failed,
            measured=np.where(self.failed, np.maximum(month - self.months, 0.0), 0.0) if area else None,
            crude_row=None if area else self._crude_row(month),
            gate=lambda level: self._gate(level, month),
        )
        return comparison_rows(self.population, outcome, answers)

    def _by_group(self, weight: np.ndarray, month: float, area: bool) -> Found:
        """Kaplan-Meier of each group, read off or summed up."""
        n_groups = len(self.population.levels)
        value, explicit, why = np.full(n_groups, np.nan), np.zeros((len(weight), n_groups)), {}
        for g, level in enumerate(self.population.levels):
            member = self.population.of(level)
            try:
                curve = weighted_curve(self.months[member], self.failed[member], weight[member])
                value[g], explicit[member, g] = curve.at(month, area)
            except NotFitted as reason:
                why[level] = str(reason)
        return Found(value, explicit, why)

    def _standardised(self, month: float, area: bool) -> Found:
        fit, set_to = self.cox
        found = [fit.mean(columns, month, area) for columns in set_to]
        value, influence = np.array([one[0] for one in found]), np.column_stack([one[1] for one in found])
        ends = {level: self.months[self.population.of(level)].max() for level in self.population.levels}
        why = {level: remark("last_follow_up", months=end) for level, end in ends.items() if end < month}
        return Found(value, influence, why)

    def _crude_row(self, month: float) -> Callable:
        """A group's row as survival.km's `corrected` has it."""

        def row(fit, term, level):
            member = self.population.of(level)
            time, failed, patient = self.months[member], self.failed[member], self.population.patient[member]
            estimate = kaplan_meier(time, failed, patient)
            survival, std_error = estimate.at([month])
            told = survival_rows(fit, [month], survival, std_error, estimate.last_month)
            corrected = headline_rows(told, by_month(time, failed, patient, [month]), survival)[0]
            return corrected | {"term": term, "method": CRUDE, "headline": False}

        return row

    def _gate(self, level: str, month: float) -> str:
        """Why a group's number is no headline."""
        member = self.population.of(level)
        if not member.any():
            return ""
        n_at_risk = numbers_at(self.months[member], self.failed[member], [month])[0][0]
        return at_risk_gate(int(n_at_risk), int(member.sum()))

    # ── tables ──────────────────────────────────────────────────────────────────────────────────────────────

    def curves(self) -> list[pd.DataFrame]:
        """Steps of each group's curve, crude and weighted, as far as enough of its implants are at risk."""
        weights = {CRUDE: np.ones(len(self.months))}
        weights |= {kind: found.value for kind, found in self.weights.items() if not isinstance(found, str)}
        tables = []
        for method, weight in weights.items():
            for level in self.population.levels:
                member = self.population.of(level)
                end = last_month_told(self.months[member])
                if np.isnan(end):
                    continue
                curve = weighted_curve(self.months[member], self.failed[member], weight[member])
                at = np.unique(np.r_[0.0, curve.times[curve.times <= end], end])
                place = {"subset": self.population.subset, "method": method, "group": level}
                steps = np.r_[1.0, curve.survival][np.searchsorted(curve.times, at, side="right")]
                tables.append(pd.DataFrame({**place, "months": at, "survival": steps}))
        return tables

    def at_risk(self, asked: Sequence[float]) -> list[pd.DataFrame]:
        """Unweighted numbers at risk of each group."""
        tables = []
        for level in self.population.levels:
            member = self.population.of(level)
            time, failed = self.months[member], self.failed[member]
            at = np.unique(np.r_[np.arange(0.0, time.max() + 1e-9, 12.0), np.asarray(asked, float)])
            n_at_risk, n_failed, n_censored = numbers_at(time, failed, at)
            counts = {"n_at_risk": n_at_risk, "n_failed": n_failed, "n_censored": n_censored}
            place = {"subset": self.population.subset, "group": level}
            tables.append(pd.DataFrame({**place, "months": at, **counts}))
        return tables


def _stacked(tables: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=columns)
