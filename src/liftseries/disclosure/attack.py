"""The attack: what a reader of everything that is published can work out about what is withheld.

It knows how the counts hang together (`structure`) and what is printed, and nothing of how it was decided what to
withhold; so it is the check of that decision. Lowest and highest values come from linear programming.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack
from scipy.sparse.csgraph import connected_components

from liftseries.disclosure.counts import Count, check_counts
from liftseries.disclosure.structure import Structure, structure_of

INFEASIBLE, UNBOUNDED = 2, 3  # what scipy.optimize calls them
NEAR = 1e-6  # how closely what is known must agree


def attack(
    counts: Sequence[Count], patients: np.ndarray, values: Mapping[str, int | None], *, integers: bool = False
) -> pd.DataFrame:
    """Lowest and highest value that each withheld count can have, given all that is published.

    Parameters
    ----------
    counts : the whole ledger; only the structure is used, never a count's own value
    patients : shape (n_sites,), int
    values : by name, what is printed; None or absent where it is withheld or printed nowhere
    integers : solve in whole patients (slower, never wider) instead of the linear relaxation

    Returns
    -------
    `name, lower, upper`, one row for every count without a value; `upper` is inf where nothing bounds it.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    check_counts(counts, patients)
    structure = structure_of(counts, patients)
    known = _known(structure, values)
    bounds = {number: limits for part in _parts(structure, known) for number, limits in part.bounds(integers)}
    withheld = [count.name for count in counts if values.get(count.name) is None]
    numbers = [structure.number_of[name] for name in withheld]
    limits = [(known[i], known[i]) if i in known else bounds[i] for i in numbers]
    return pd.DataFrame({"name": withheld}).assign(
        lower=[float(low) for low, _ in limits], upper=[float(high) for _, high in limits]
    )


def _known(structure: Structure, values: Mapping[str, int | None]) -> dict[int, float]:
    known: dict[int, float] = {}
    for name, number in structure.number_of.items():
        value = values.get(name)
        if value is not None and known.setdefault(number, float(value)) != float(value):
            raise ValueError(f"{name}: another count of the same sites has another value")
    return known


def _parts(structure: Structure, known: Mapping[int, float]) -> Iterator[_Part]:
    """What is unknown, in parts of which none tells anything of another."""
    n = len(structure.numbers)
    value = np.array([known.get(i, 0.0) for i in range(n)])
    unknown = np.array([i for i in range(n) if i not in known], int)
    relations = csr_array(vstack([structure.equations, structure.inequalities]))
    is_equation = np.arange(relations.shape[0]) < structure.equations.shape[0]
    rest = -(relations @ value)  # what the unknown ones of each relation come to, or come to at least
    relations = csr_array(relations[:, unknown])
    settled = np.diff(relations.indptr) == 0
    if (rest[settled] > NEAR).any() or (rest[settled & is_equation] < -NEAR).any():
        raise ValueError("no series agrees with the values")
    pairs = coo_array(relations)
    size = len(unknown) + relations.shape[0]
    links = coo_array((np.ones(len(pairs.data)), (pairs.col, pairs.row + len(unknown))), shape=(size, size))
    label = connected_components(links, directed=False)[1]
    of_number, of_relation = label[: len(unknown)], label[len(unknown) :]
    for one in np.unique(of_number):
        columns = np.flatnonzero(of_number == one)
        equations, inequalities = (
            (csr_array(relations[rows][:, columns]), rest[rows])
            for rows in (np.flatnonzero((of_relation == one) & kind) for kind in (is_equation, ~is_equation))
        )
        yield _Part(unknown[columns], *equations, *inequalities)


class _Part:
    """Some unknown numbers x: equations @ x = equal_to, inequalities @ x ≥ at_least, x ≥ 0."""

    def __init__(self, numbers, equations, equal_to, inequalities, at_least):
        self.numbers = numbers
        self.equations, self.equal_to = equations, equal_to
        self.inequalities, self.at_least = inequalities, at_least

    def bounds(self, integers: bool) -> Iterator[tuple[int, tuple[float, float]]]:
        """Each number with its lowest and highest value."""
        for column, number in enumerate(self.numbers):
            objective = np.zeros(len(self.numbers))
            objective[column] = 1
            yield int(number), (self._lowest(objective, integers), -self._lowest(-objective, integers))

    def _lowest(self, objective: np.ndarray, integers: bool) -> float:
        solved = linprog(objective, -self.inequalities, -self.at_least, self.equations, self.equal_to, method="highs")
        lowest = -np.inf if solved.status == UNBOUNDED else _value_found(solved)
        if not integers:
            return lowest
        if lowest == -np.inf:
            # Whole numbers are unbounded too, if any agree at all (Meyer, Mathematical Programming 7, 1974, 223-235;
            # from memory); the solver for whole numbers does not tell the one from the other.
            self._whole(np.zeros_like(objective))
            return lowest
        return self._whole(objective)

    def _whole(self, objective: np.ndarray) -> float:
        constraints = [
            LinearConstraint(matrix, low, high)
            for matrix, low, high in (
                (self.equations, self.equal_to, self.equal_to),
                (self.inequalities, self.at_least, np.inf),
            )
            if matrix.shape[0]
        ]
        # With its presolve HiGHS (scipy 1.17) has called 1 the highest of a number that can be 3: too narrow a bound.
        options, bounds = {"presolve": False}, Bounds(0, np.inf)
        return _value_found(milp(objective, integrality=1, bounds=bounds, constraints=constraints, options=options))


def _value_found(solved: OptimizeResult) -> float:
    if solved.status == INFEASIBLE:
        raise ValueError("no series agrees with the values")
    if solved.status != 0:
        raise RuntimeError(solved.message)
    return float(solved.fun)
