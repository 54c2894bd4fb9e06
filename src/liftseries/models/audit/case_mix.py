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
        found[used] = shifted_to_mean(self._log_odds(others, event), self.audit.p0)
        return found

    def _log_odds(self, others: np.ndarray, event: np.ndarray) -> np.ndarray:
        """Of all complete cases, by the regression over the others; what does not vary among those is no term."""
        x, names = self.design.matrix, self.design.names
        varying = {name: x[others, j] for j, name in enumerate(names) if j and np.ptp(x[others, j]) > 0}
        kept = independent_columns(varying, int(others.sum()))[0]
        columns = [0, *(names.index(name) for name in kept)]
        if others.sum() <= len(columns):
            raise NotFitted(remark("too_few_sites", n_sites=int(others.sum()), n_coefficients=len(columns)))
        fit = firth_logistic(x[np.ix_(others, columns)], event[others], profile=False)
        return x[:, columns] @ fit.coefficients
