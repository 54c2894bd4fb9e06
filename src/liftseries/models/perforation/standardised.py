"""Fitted perforation models that a risk is standardised from: every site used has one column set to the same value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.gee import GeeFit
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.patients_left_out import jackknife_std_error
from liftseries.estimators.spline import restricted_cubic_spline
from liftseries.estimators.standardised import StandardisedRisks
from liftseries.models.perforation.firth import Penalised
from liftseries.models.shared.complete_cases import PerforationData
from liftseries.models.shared.levels import levels_present
from liftseries.models.shared.penalised import grouped_note
from liftseries.models.shared.results import few_events_note

BEND = " bent"  # what is added to the name of an exposure for its non-linear column
Setting = tuple[str, object]  # a column, and what it is set to


@dataclass(frozen=True)
class Risk:
    """A standardised risk or difference, its standard error (NaN without one), and the one of independent sites."""

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
    corrected : whether the coefficients' variance is `GeeFit.corrected_variance`, or that of `GeeFit.covariance`
    """

    data: PerforationData
    fit: GeeFit
    exposure: str = ""
    knots: np.ndarray | None = None
    corrected: bool = False
    why_no_interval: str = ""

    @property
    def notes(self) -> list[str]:
        """Remarks for a reader of what comes from the model."""
        few = few_events_note(int(self.data.event.sum()), len(self.data.design.names) - 1)
        return [*few, *self.data.design.notes, self.fit.remark]

    def rows_with(self, column: str, value) -> np.ndarray:
        """The design with one column's value set for every site, shape (n, p).

        Raises NotFitted where the column or the level is not in the model.
        """
        if column != self.exposure:
            return set_for_all(self.data, column, value)
        names, matrix = np.array(self.data.design.names), self.data.design.matrix.copy()
        line = restricted_cubic_spline(np.array([float(value)]), self.knots)[0]
        matrix[:, names == column], matrix[:, names == column + BEND] = line
        return matrix

    def risk(self, *settings: Setting) -> Risk:
        """Mean risk with a column set, or the difference between two settings.

        Uncertain are the coefficients (delta method on the clustered covariance) and which patients there were
        (variance of their sums, K / (K - 1)). The whole variance is taken m / (m - 1) times, m the patients with a
        perforation: it is they that the clustered covariance comes from, and simulated series ask for it.
        """
        site_risk, gradient = risks_and_gradient(self.rows_with, self.fit.coefficients, settings)
        mean = float(site_risk.mean())
        codes, k = cluster_codes(self.data.patient)
        sums = np.bincount(codes, weights=site_risk - mean, minlength=k) / len(site_risk)
        of_fit = self.fit.corrected_variance(gradient) if self.corrected else gradient @ self.fit.covariance @ gradient
        variance = of_fit + k / (k - 1) * sums @ sums
        m = len(np.unique(codes[self.data.event]))
        naive = gradient @ self.fit.naive_covariance @ gradient + site_risk.var() / len(site_risk)
        return Risk(mean, float(np.sqrt(variance * m / max(m - 1, 1))), float(np.sqrt(naive)))


@dataclass(frozen=True)
class PenalisedRisk:
    """Firth's fit that risks are standardised from, its intercept moved until the mean risk is the observed share."""

    model: Penalised

    @property
    def data(self) -> PerforationData:
        """The sites used and their design."""
        return self.model.data

    @property
    def notes(self) -> list[str]:
        """Remarks for a reader of what comes from the model."""
        return [grouped_note(self.data.counts["n_patients"]), *self.data.design.notes]

    @cached_property
    def m(self) -> int:
        """The smaller of the numbers of patients with an event and of patients with a non-event."""
        event, patient = self.data.event, self.data.patient
        return min(len(set(patient[event])), len(set(patient[~event])))

    @property
    def df(self) -> int | None:
        """Of t, m - 1."""
        return None if self.why_no_interval else self.m - 1

    @property
    def why_no_interval(self) -> str:
        """Why no patient can be left out; "" where each can."""
        return remark("one_patient_of_outcome") if self.m < 2 else self.model.why_no_refits

    @cached_property
    def _risks(self) -> StandardisedRisks:
        design, fit = self.data.design, self.model.fit
        refits = self.model.refits[: 0 if self.why_no_interval else None]
        return StandardisedRisks(design.matrix, self.data.event, self.data.patient, fit.coefficients, refits)

    def risk(self, *settings: Setting) -> Risk:
        """Mean risk with a column set, or the difference between two settings; patients are left out one by one."""
        coefficients = self._risks.coefficients
        site_risk, gradient = risks_and_gradient(self.rows_with, coefficients, settings)
        mean = float(site_risk.mean())
        if self.why_no_interval:
            return Risk(mean, np.nan, np.nan)
        replicates = [self._risks.replicates(self.rows_with(*setting)) for setting in settings]
        replicates = replicates[0] if len(settings) == 1 else replicates[1] - replicates[0]
        x = self.data.design.matrix
        p = expit(x @ coefficients)
        naive = gradient @ np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x, gradient)
        naive += site_risk.var() / len(site_risk)
        return Risk(mean, float(jackknife_std_error(replicates[:, None])[0]), float(np.sqrt(naive)))

    def rows_with(self, column: str, value) -> np.ndarray:
        """As `RiskModel.rows_with`."""
        return set_for_all(self.data, column, value)


def set_for_all(data: PerforationData, column: str, value) -> np.ndarray:
    """The design with one column's value set for every site, shape (n, p).

    Raises NotFitted where the column or the level is not in the model.
    """
    design = data.design
    names, matrix = np.array(design.names), design.matrix.copy()
    if column in names:
        matrix[:, names == column] = float(value)
        return matrix
    levels, level = design.factors.get(column), written(value)
    if levels is None:
        raise NotFitted(design.problems.get(column, remark("term_absent", column=column)))
    if level not in levels_present(levels):
        raise NotFitted(remark("level_absent", column=column, level=level))
    if aliased := design.problems.get(f"{column}[{level}]"):
        raise NotFitted(aliased)
    for k, name in enumerate(names):
        if name.startswith(f"{column}["):
            matrix[:, k] = float(name == f"{column}[{level}]")
    return matrix


def risks_and_gradient(
    rows_with: Callable[..., np.ndarray], coefficients: np.ndarray, settings: tuple[Setting, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Each site's risk in a setting, or its difference between two, and how the mean changes with the coefficients."""
    signs = (1.0,) if len(settings) == 1 else (-1.0, 1.0)
    site_risk, gradient = 0.0, 0.0
    for sign, (column, value) in zip(signs, settings, strict=True):
        matrix = rows_with(column, value)
        p = expit(matrix @ coefficients)
        site_risk = site_risk + sign * p
        gradient = gradient + sign * (p * (1 - p)) @ matrix / len(p)
    return site_risk, gradient


def written(value) -> str:
    """A number or level as it stands in a term."""
    if isinstance(value, bool):
        return str(value).lower()  # as levels of true/false are called
    return str(value) if isinstance(value, str) else f"{value:g}"
