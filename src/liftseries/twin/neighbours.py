"""The nearest of many rows that have numbers and levels.

    d² = sum of squared differences of the numbers + weight² for each level that differs

Rows are parted by as many levels as leave `IN_A_CELL` in a cell, and each cell has a tree over the rest: numbers, and
a column for each level that does not part. A row is looked for in its own cell, then in the next unlike, until no other
can hold a nearer one. A single tree finds the same; with a column for each of sixty centres it compares all with all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

IN_A_CELL = 200
FEW = 4  # rows that are not worth a tree


@dataclass(frozen=True)
class Rows:
    """Rows by numbers and levels.

    Attributes
    ----------
    numbers : shape (n, p), p at least 1
    levels : shape (n, c), whole numbers from 0
    """

    numbers: np.ndarray
    levels: np.ndarray

    def __len__(self) -> int:
        return len(self.numbers)

    def __getitem__(self, rows: np.ndarray) -> Rows:
        return Rows(self.numbers[rows], self.levels[rows])


def nearest(real: Rows, new: Rows, weights: np.ndarray, k: int) -> np.ndarray:
    """The k nearest real rows of each new one, the nearest first.

    Parameters
    ----------
    weights : shape (c,)
        What a level that differs is away.
    k
        From 1 to the number of real rows.

    Returns
    -------
    shape (n_new, k), row numbers in `real`
    """
    levels = np.vstack([real.levels, new.levels])
    levels = np.column_stack([levels[:, :0], *(counted_through(column) for column in levels.T)])
    n_levels = levels.max(axis=0, initial=0) + 1
    parts = np.zeros(len(weights), bool)
    for column in np.argsort(-n_levels, kind="stable"):
        parts[column] = n_levels[parts].prod() * n_levels[column] * IN_A_CELL <= len(real)
    numbers = [np.vstack([real.numbers, new.numbers])]
    numbers += [np.eye(n_levels[i])[levels[:, i]] * weights[i] / np.sqrt(2) for i in np.flatnonzero(~parts)]
    numbers = np.column_stack(numbers)
    cell = joined(levels[:, parts])
    held = np.zeros((cell.max() + 1, parts.sum()), int)
    held[cell] = levels[:, parts]
    away = np.square(weights[parts])
    cells = _Cells(numbers[: len(real)], rows_by(cell[: len(real)], len(held)), held, away)
    found = np.empty((len(new), k), int)
    for of_cell, rows in zip(held, rows_by(cell[len(real) :], len(held)), strict=True):
        if rows.size:
            found[rows] = cells.nearest(of_cell, numbers[len(real) + rows], k)
    return found


class _Cells:
    """Real rows by cell; a tree for each that many rows were looked for in."""

    def __init__(self, numbers: np.ndarray, rows: list[np.ndarray], held: np.ndarray, away: np.ndarray) -> None:
        peopled = np.flatnonzero([each.size for each in rows])
        self._numbers, self._held, self._away = numbers, held[peopled], away
        self._rows, self._trees = [rows[i] for i in peopled], {}

    def nearest(self, levels: np.ndarray, numbers: np.ndarray, k: int) -> np.ndarray:
        """Of rows of one cell; shape (n, k)."""
        apart = (self._held != levels) @ self._away
        best, at = np.full((len(numbers), k), np.inf), np.full((len(numbers), k), -1)
        for i in np.argsort(apart, kind="stable"):
            looking = np.flatnonzero(best[:, -1] > apart[i])
            if not looking.size:
                break
            distance, nearby = self._within(i, numbers[looking], min(k, self._rows[i].size))
            distance = distance + apart[i]
            if at[0, 0] < 0 and distance.shape[1] == k:  # the first cell, and it has enough
                best, at = distance, nearby
                continue
            distance, nearby = np.hstack([best[looking], distance]), np.hstack([at[looking], nearby])
            best[looking], at[looking] = _first(k, distance, nearby)
        return at

    def _within(self, i: int, numbers: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Squared distances to the n nearest rows of a cell, and these rows; each of shape (n_new, n)."""
        rows = self._rows[i]
        if i not in self._trees and len(numbers) <= FEW:
            distance = np.square(self._numbers[rows] - numbers[:, None]).sum(axis=2)
            nearby = np.argpartition(distance, n - 1, axis=1)[:, :n]
            return _first(n, np.take_along_axis(distance, nearby, axis=1), rows[nearby])
        if i not in self._trees:
            # Many rows are equal but for chance, which balancing takes long over.
            self._trees[i] = cKDTree(self._numbers[rows], balanced_tree=False, compact_nodes=False)
        distance, nearby = self._trees[i].query(numbers, k=n)
        return np.square(distance).reshape(-1, n), rows[nearby].reshape(-1, n)


def _first(n: int, distance: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    order = np.argsort(distance, axis=1, kind="stable")[:, :n]
    return np.take_along_axis(distance, order, axis=1), np.take_along_axis(rows, order, axis=1)


def counted_through(values: np.ndarray) -> np.ndarray:
    """A whole number from 0 for each distinct one, in their order; the values are whole numbers from 0."""
    if values.max(initial=0) > 4 * values.size:
        return np.unique(values, return_inverse=True)[1].reshape(-1)
    return (np.cumsum(np.bincount(values) > 0) - 1)[values]


def joined(levels: np.ndarray) -> np.ndarray:
    """A whole number from 0 for each distinct row of whole numbers from 0; shape (n,)."""
    group = np.zeros(len(levels), np.int64)
    for column in levels.T:
        group = counted_through(group * (column.max(initial=0) + 1) + column)
    return group


def rows_by(group: np.ndarray, n_groups: int) -> list[np.ndarray]:
    """The rows of each group from 0, in their order; those of a group below 0 are nowhere."""
    ends = np.cumsum(np.bincount(group + 1, minlength=n_groups + 1)) if group.size else np.zeros(n_groups + 1, int)
    return np.split(np.argsort(group, kind="stable"), ends)[1:-1]
