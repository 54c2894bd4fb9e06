"""Predictors of many units: a row each, in full or by its few entries, and products of those rows.

A category of hundreds of levels is hundreds of rows that are nought nearly everywhere: in full their products take the
square of the levels times the units, by their entries little more than the units.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse


@dataclass(frozen=True)
class Predictors:
    """What units are predicted from.

    Attributes
    ----------
    full : shape (q_full, n)
    few : shape (q_few, n), rows that are nought for most units, by their entries
    """

    full: np.ndarray
    few: sparse.csc_array

    @classmethod
    def of(cls, blocks: Sequence[np.ndarray | sparse.sparray]) -> "Predictors":
        """Of rows in any order, each block of shape (…, n): those in full come first."""
        n = blocks[0].shape[1]
        few = [block for block in blocks if sparse.issparse(block)]
        return cls(
            np.vstack([np.empty((0, n)), *(block for block in blocks if not sparse.issparse(block))]),
            sparse.csc_array(sparse.vstack(few)) if few else sparse.csc_array((0, n)),
        )

    def at(self, units: np.ndarray) -> "Predictors":
        """Of some units: positions, or true/false of shape (n,)."""
        return Predictors(self.full[:, units], self.few[:, np.flatnonzero(units) if units.dtype == bool else units])

    def means(self) -> np.ndarray:
        """Shape (q,)."""
        return np.r_[self.full.mean(axis=1), self.few.sum(axis=1) / self.few.shape[1]]

    def off(self, centre: np.ndarray) -> "Off":
        """What they are off a centre, shape (q,)."""
        n_full, n = self.full.shape
        x = np.ones((1 + n_full, n))
        np.subtract(self.full, centre[:n_full, None], out=x[1:])
        return Off(x, self.few, centre[n_full:])


@dataclass(frozen=True)
class Off:
    """What predictors are off a centre, below a row of 1, as one matrix X of shape (1 + q, n).

    Attributes
    ----------
    x : shape (1 + q_full, n)
    few : shape (q_few, n), as they stand: their centre is taken off their products
    centre : shape (q_few,), theirs
    """

    x: np.ndarray
    few: sparse.csc_array
    centre: np.ndarray

    def predicted(self, coefficients: np.ndarray) -> np.ndarray:
        """X' b, shape (n,), of b of shape (1 + q,)."""
        of_x, of_few = np.split(coefficients, [len(self.x)])
        predicted = of_x @ self.x
        if len(of_few):
            predicted += self._few_by_unit @ of_few - of_few @ self.centre
        return predicted

    def sums(self, weights: np.ndarray) -> np.ndarray:
        """X w, shape (1 + q,), of w of shape (n,)."""
        of_x = self.x @ weights
        return np.r_[of_x, self.few @ weights - self.centre * of_x[0]]

    def squares(self, weights: np.ndarray | None = None) -> np.ndarray:
        """X diag(w) X', shape (1 + q, 1 + q), of w of shape (n,) that are not below nought, or of 1."""
        root = np.ones(self.x.shape[1]) if weights is None else np.sqrt(weights)
        x, few = self.x * root, self.few
        of_x = x @ x.T
        if not len(self.centre):
            return of_x
        few = sparse.csc_array((few.data * np.repeat(root, np.diff(few.indptr)), few.indices, few.indptr), few.shape)
        across = few @ x.T
        of_few = (few @ few.T).toarray()
        # The row of 1 gives what the centre takes off.
        of_few -= np.outer(self.centre, across[:, 0]) + np.outer(across[:, 0], self.centre)
        of_few += of_x[0, 0] * np.outer(self.centre, self.centre)
        across -= np.outer(self.centre, of_x[0])
        return np.block([[of_x, across.T], [across, of_few]])

    @cached_property
    def _few_by_unit(self) -> sparse.csr_array:
        return self.few.T
