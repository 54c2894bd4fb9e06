"""A column in the chain of imputation: its values, and the rows that it is among the predictors of others."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from liftseries.estimators.missing_values import DONORS
from liftseries.models.shared.levels import as_levels, is_number, levels_present

LEVEL = 2.0  # what a level counts among the predictors
MANY_LEVELS = 20  # above so many a category's predictors are kept by their entries


@dataclass(frozen=True)
class Variable:
    """A column in the chain.

    Attributes
    ----------
    name
    of_patient : whether it has one value a patient
    labels : its levels, None for a number
    value : shape (n_units,), a number or a level's position; missing ones hold no meaning
    known : shape (n_units,), true/false
    """

    name: str
    of_patient: bool
    labels: tuple[str, ...] | None
    value: np.ndarray
    known: np.ndarray

    @property
    def n_missing(self) -> int:
        return int((~self.known).sum())

    @property
    def model(self) -> str:
        """How it is imputed, in words."""
        if self.labels is None:
            return f"predictive mean matching, {DONORS} donors"
        return "logistic" if len(self.labels) == 2 else "successive logistic"

    def predictors(self, value: np.ndarray) -> np.ndarray | sparse.csc_array:
        """Values of some units as rows: a number in standard deviations, a category a row a level but the first.

        Shape (q, n_units), by their entries above MANY_LEVELS levels. A level counts 2, so that at half and half it has
        standard deviation 1 too. One that is rare is not blown up to it: the prior would then let its log odds run off.
        """
        if self.labels is None:
            return (value / (self.value[self.known].std() or 1.0))[None]
        if len(self.labels) <= MANY_LEVELS:
            return LEVEL * (value == np.arange(1, len(self.labels))[:, None])
        units = np.flatnonzero(value > 0)
        entries = np.full(len(units), LEVEL), (value[units].astype(int) - 1, units)
        return sparse.csc_array(entries, shape=(len(self.labels) - 1, len(value)))


def variable_of(column: pd.Series, name: str, of_patient: bool) -> Variable:
    """A column of the table, one row a patient or a site; `unknown` is missing."""
    if is_number(column):
        value = column.to_numpy(float, na_value=np.nan)
        return Variable(name, of_patient, None, np.nan_to_num(value), np.isfinite(value))
    levels = as_levels(column)
    labels = levels_present(levels)
    codes = pd.Categorical(np.asarray(levels.astype(object)), categories=labels).codes
    return Variable(name, of_patient, tuple(labels), codes.astype(float), codes >= 0)
