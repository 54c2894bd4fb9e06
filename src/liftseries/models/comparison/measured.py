"""A measurement compared between groups: by mixed models with the groups alone and with X, and by weighted means."""

from __future__ import annotations

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mixed import mixed_reml
from liftseries.estimators.mixed_influence import refitted_influence
from liftseries.models.comparison.compared import Compared
from liftseries.models.comparison.contrasts import Found
from liftseries.models.shared.design import INTERCEPT, independent_columns

MONTHS = "months"


def mixed_model(
    population: Compared, y: np.ndarray, site: np.ndarray, months: np.ndarray | None, with_x: bool
) -> tuple[Found, float, np.ndarray]:
    """REML with intercepts for the patient, and where a site has several rows for the site.

    Parameters
    ----------
    population
    y : shape (n_rows,), mm
    site : shape (n_rows,), which site of the population each row is of; every site has one
    months : shape (n_rows,); None where the model has none
    with_x : whether X is in it

    Returns
    -------
    Found
        The groups' coefficients, 0 for the first.
    slope : mm a month; 0 where the months do not vary
    slope_influence : shape (n_sites,)
        A patient's influence is shared out evenly among their sites.

    Raises
    ------
    NotFitted
    """
    population.refuse_one_group()
    x, names = _columns(population, site, months, with_x)
    owner = population.patient[site]
    n_sites, n_patients = len(population.sites), population.n_patients
    if n_patients <= x.shape[1]:
        raise NotFitted(remark("too_few_patients", n_patients=n_patients, n_coefficients=x.shape[1]))
    of_patient = owner if n_sites > n_patients else None
    of_site = site if len(y) > n_sites else None
    fit = mixed_reml(y, x, of_patient, of_site)
    by_patient = np.empty((n_patients, x.shape[1]))
    by_patient[owner[_first_of(owner)]] = refitted_influence(fit, y, x, owner, site)
    n_of_patient = np.bincount(population.patient, minlength=n_patients)
    influence = (by_patient / n_of_patient[:, None])[population.patient]

    groups = [names.index(level) for level in population.levels[1:]]
    found = Found(np.r_[0.0, fit.coefficients[groups]], np.column_stack([np.zeros(n_sites), influence[:, groups]]))
    if MONTHS not in names:
        return found, 0.0, np.zeros(n_sites)
    at = names.index(MONTHS)
    return found, float(fit.coefficients[at]), influence[:, at]


def _first_of(owner: np.ndarray) -> np.ndarray:
    """A row of each patient, in the order in which they appear."""
    codes, n = cluster_codes(owner)
    first = np.empty(n, int)
    first[codes[::-1]] = np.arange(len(codes))[::-1]
    return first


def _columns(
    population: Compared, site: np.ndarray, months: np.ndarray | None, with_x: bool
) -> tuple[np.ndarray, list[str]]:
    """The model's columns and their names; a group's is named by its level."""
    columns = {}
    if months is not None and np.ptp(months) > 0:
        columns[MONTHS] = months
    if with_x:
        named = zip(population.design.names, population.design.matrix[site].T, strict=True)
        columns |= {f"{name} of X": column for name, column in named if name != INTERCEPT and np.ptp(column) > 0}
    groups = dict(zip(population.levels[1:], population.dummies[site].T, strict=True))
    kept, _ = independent_columns(columns | groups, len(site))
    if not set(groups) <= set(kept):
        raise NotFitted(remark("terms_separate"))
    columns |= groups
    return np.column_stack([np.ones(len(site)), *(columns[name] for name in kept)]), [INTERCEPT, *kept]
