"""What risk the sites of a unit would have in the hands of all others.

For unit u Firth's logistic regression of the tear on the case mix over the other units' sites gives r for all sites;
logit q = logit r + c_u with c_u such that the mean of q over all sites is p0.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clustered_count import shifted_to_mean
from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.intervals import NotFitted
from liftseries.models.audit.units import Audited
from liftseries.models.shared.design import Design, design_matrix, independent_columns

MOST_SINGLY = 5000  # complete cases; of more, those that share all terms are counted together


class CaseMix:
    """The complete cases of a case mix, and each unit's expected risks.

    Parameters
    ----------
    audit
    terms : columns of the cases, nothing that the operator chooses
    """

    def __init__(self, audit: Audited, terms: Sequence[str]):
        self.audit, self.terms = audit, list(terms)

    @cached_property
    def design(self) -> Design:
        """The columns of the regression."""
        return design_matrix(self.audit.table, self.terms)

    @property
    def used(self) -> np.ndarray:
        """The complete cases, shape (n,)."""
        return self.design.used

    def risks(self, number: int) -> np.ndarray:
        """q of all sites for a unit; NaN where a term is missing. Shape (n,).

        Raises
        ------
        NotFitted
            No other unit, or the others had no tear, or nothing else.
        """
        used = self.used
        others = self.audit.unit[used] != number
        event = self.audit.event[used]
        if not used.any():
            raise NotFitted(remark("no_complete_case_with_perforation"))
        if not others.any():
            raise NotFitted(remark("no_other_unit"))
        if event[others].all() or not event[others].any():
            raise NotFitted(remark("others_do_not_differ"))
        found = np.full(len(used), np.nan)
        found[used] = self._by_cells(others, event) if len(event) > MOST_SINGLY else self._by_sites(others, event)
        return found

    def _by_sites(self, others: np.ndarray, event: np.ndarray) -> np.ndarray:
        """q of all complete cases."""
        x = self.design.matrix
        columns = self._columns(x[others], int(others.sum()))
        fit = firth_logistic(x[np.ix_(others, columns)], event[others], profile=False)
        return shifted_to_mean(x[:, columns] @ fit.coefficients, self.audit.p0)

    def _by_cells(self, others: np.ndarray, event: np.ndarray) -> np.ndarray:
        """The same of sites counted by the rows that they share, since every unit asks for a regression of its own."""
        cells, which = self._cells
        n_sites, n_others = (np.bincount(of, minlength=len(cells)).astype(float) for of in (which, which[others]))
        n_events = np.bincount(which[others & event], minlength=len(cells))
        here = n_others > 0
        columns = self._columns(cells[here], int(others.sum()))
        x = cells[np.ix_(here, columns)]
        fit = firth_logistic(x, n_events[here], profile=False, trials=n_others[here])
        return shifted_to_mean(cells[:, columns] @ fit.coefficients, self.audit.p0, n_sites)[which]

    @cached_property
    def _cells(self) -> tuple[np.ndarray, np.ndarray]:
        """The different rows of the regression, and which each complete case has."""
        cells, which = np.unique(self.design.matrix, axis=0, return_inverse=True)
        return cells, which.ravel()

    def _columns(self, x: np.ndarray, n_sites: int) -> list[int]:
        """Of the regression over these rows; what does not vary among them is no term."""
        names = self.design.names
        varying = {name: x[:, j] for j, name in enumerate(names) if j and np.ptp(x[:, j]) > 0}
        columns = [0, *(names.index(name) for name in independent_columns(varying, len(x))[0])]
        if n_sites <= len(columns):
            raise NotFitted(remark("too_few_sites", n_sites=n_sites, n_coefficients=len(columns)))
        return columns
