"""The nearest rows, found cell by cell, against all compared with all."""

from __future__ import annotations

import numpy as np
import pytest

from liftseries.twin.neighbours import Rows, counted_through, nearest, rows_by


@pytest.mark.parametrize(
    ("n_levels", "n_new"),
    [((), 300), ((3,), 300), ((40, 3), 300), ((8, 5, 2), 2)],
    ids=["numbers alone", "one level", "levels that part and that do not", "rows not worth a tree"],
)
def test_the_nearest_of_all(n_levels, n_new):
    """Levels that only one side has, and cells with fewer rows than are asked for, among them."""
    rng = np.random.default_rng(5)
    weights = rng.uniform(0.1, 2, len(n_levels))

    def drawn(n: int, first: int) -> Rows:
        levels = [first + np.floor(many * rng.random(n) ** 3).astype(int) for many in n_levels]
        return Rows(
            rng.normal(size=(n, 2)).round(1) + rng.normal(0, 0.01, (n, 2)), np.array(levels, int).T.reshape(n, -1)
        )

    real, new = drawn(9000, 0), drawn(n_new, 1)
    squared = np.square(real.numbers - new.numbers[:, None]).sum(axis=2)
    squared += (real.levels != new.levels[:, None]) @ weights**2
    assert (nearest(real, new, weights, 20) == np.argsort(squared, axis=1)[:, :20]).all()


def test_as_many_as_there_are():
    real = Rows(np.array([[0.0], [3.0], [1.0]]), np.array([[0], [1], [0]]))
    new = Rows(np.array([[2.9], [0.1]]), np.array([[0], [2]]))
    assert nearest(real, new, np.array([3.0]), 3).tolist() == [[2, 0, 1], [0, 2, 1]]


def test_rows_by_group():
    assert [rows.tolist() for rows in rows_by(np.array([2, -1, 0, 2]), 4)] == [[2], [], [0, 3], []]
    assert [rows.tolist() for rows in rows_by(np.zeros(0, int), 2)] == [[], []]
    assert counted_through(np.array([7, 0, 7, 900])).tolist() == [1, 0, 1, 2]
