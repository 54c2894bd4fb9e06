"""The attack: what a reader of everything that is published can work out about what is withheld.

It knows how the counts hang together (`structure`) and what is printed, and nothing of how it was decided what to
withhold; so it is the check of that decision. Lowest and highest values come from linear programming.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack
from scipy.sparse.csgraph import connected_components

from liftseries.disclosure.counts import Count, check_counts
from liftseries.disclosure.structure import Structure, structure_of

OUT_OF_TIME, INFEASIBLE, UNBOUNDED = 1, 2, 3  # what scipy.optimize calls them
NEAR = 1e-6  # how closely what is known must agree

Value = int | tuple[int, int] | None
SECONDS = 30.0  # a whole-number programme may take; one without an answer counts as open


def attack(
    counts: Sequence[Count],
    patients: np.ndarray,
    values: Mapping[str, Value],
    targets: Collection[str] | None = None,
    *,
    integers: bool = False,
) -> pd.DataFrame:
    """Lowest and highest value that each withheld count can have, given all that is published.

    Parameters
    ----------
    counts : the whole ledger; only the structure is used, never a count's own value
    patients : shape (n_sites,), int
    values : by name, what is printed
        A number, the lowest and highest that it can be (`<5` is 0 to 4), None or absent where it is withheld.
    targets : names of the counts that are asked for; all without a value where absent
    integers : solve in whole patients (slower, never wider) instead of the linear relaxation

    Returns
    -------
    `name, lower, upper`, one row a target; `upper` is inf where nothing bounds it.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    check_counts(counts, patients)
    structure = structure_of(counts, patients)
    known, within = _known(structure, values)
    if targets is None:
        targets = [count.name for count in counts if not isinstance(values.get(count.name), int | np.integer)]
    asked = {structure.number_of[name] for name in targets}
    parts = _parts(structure, known, within)
    bounds = {number: limits for part in parts for number, limits in part.bounds(asked, integers)}
    limits = [(known[i], known[i]) if i in known else bounds[i] for i in map(structure.number_of.get, targets)]
    return pd.DataFrame({"name": list(targets)}).assign(
        lower=[float(low) for low, _ in limits], upper=[float(high) for _, high in limits]
    )


def told_apart(
    counts: Sequence[Count],
    patients: np.ndarray,
    values: Mapping[str, Value],
    needed: Mapping[str, tuple[float, float]],
) -> pd.DataFrame:
    """Which counts a reader can tell from one, or from k - 1.

    It asks less than `attack`, and is far sooner done: a series in whole numbers that agrees with all that is printed
    answers for every count that is as low or as high there as it has to be.

    Parameters
    ----------
    counts, patients, values : as in `attack`
    needed : by name, a value that the count must be able to fall to, and one that it must be able to rise to

    Returns
    -------
    `name, lower, upper, recovered`, one row a count that is needed: the lowest and highest value in the series found,
    which need not be all there are; `recovered` where none has the value needed.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    check_counts(counts, patients)
    structure = structure_of(counts, patients)
    known, within = _known(structure, values)
    goals: dict[int, tuple[float, float]] = {}
    for name, (low, high) in needed.items():
        number = structure.number_of[name]
        lowest, highest = goals.get(number, (low, high))
        goals[number] = min(low, lowest), max(high, highest)
    found = {number: (value, value) for number, value in known.items()}
    for part in _parts(structure, known, within):
        found |= part.reached(goals)
    rows = []
    for name, (low, high) in needed.items():
        lowest, highest = found[structure.number_of[name]]
        rows.append((name, lowest, highest, lowest > low or highest < high))
    return pd.DataFrame(rows, columns=["name", "lower", "upper", "recovered"])


def _known(structure: Structure, values: Mapping[str, Value]) -> tuple[dict[int, float], dict[int, tuple]]:
    """What is known exactly, and within what limits something else lies."""
    known: dict[int, float] = {}
    within: dict[int, tuple] = {}
    for name, number in structure.number_of.items():
        value = values.get(name)
        if isinstance(value, tuple):
            low, high = within.get(number, value)
            within[number] = max(low, value[0]), min(high, value[1])
        elif value is not None and known.setdefault(number, float(value)) != float(value):
            raise ValueError(f"{name}: another count of the same sites has another value")
    return known, within


def _parts(structure: Structure, known: Mapping[int, float], within: Mapping[int, tuple]) -> Iterator[_Part]:
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
        low, high = np.array([within.get(int(i), (0.0, np.inf)) for i in unknown[columns]], float).T
        yield _Part(unknown[columns], *equations, *inequalities, Bounds(low, high))


class _Part:
    """Some unknown numbers x: equations @ x = equal_to, inequalities @ x ≥ at_least, x within limits ≥ 0."""

    def __init__(self, numbers, equations, equal_to, inequalities, at_least, within: Bounds):
        self.numbers, self.within = numbers, within
        self.equations, self.equal_to = equations, equal_to
        self.inequalities, self.at_least = inequalities, at_least

    def bounds(self, asked: Collection[int], integers: bool) -> Iterator[tuple[int, tuple[float, float]]]:
        """Each number that is asked for with its lowest and highest value."""
        for column, number in enumerate(self.numbers):
            if int(number) not in asked:
                continue
            objective = np.zeros(len(self.numbers))
            objective[column] = 1
            yield int(number), (self._lowest(objective, integers), -self._lowest(-objective, integers))

    def reached(self, goals: Mapping[int, tuple[float, float]]) -> dict[int, tuple[float, float]]:
        """Each number that has goals with its lowest and highest value in the series that were looked for."""
        here = {column: goals[int(number)] for column, number in enumerate(self.numbers) if int(number) in goals}
        if not here:
            return {}
        series = [self._series(self.within)]
        if series[0] is None:
            raise ValueError("no series agrees with the values")
        for column, (low, high) in here.items():
            for at_most, at_least in ((low, 0.0), (np.inf, high)):
                if any(at_least <= one[column] <= at_most for one in series):
                    continue
                lowest, highest = self.within.lb.copy(), self.within.ub.copy()
                lowest[column], highest[column] = max(lowest[column], at_least), min(highest[column], at_most)
                if lowest[column] <= highest[column]:
                    series += [one for one in [self._series(Bounds(lowest, highest))] if one is not None]
        every = np.array(series)
        return {int(self.numbers[column]): (every[:, column].min(), every[:, column].max()) for column in here}

    def _series(self, within: Bounds) -> np.ndarray | None:
        """Whole numbers within limits that agree with all that is known; None where none were found."""
        nothing = np.zeros(len(self.numbers))
        limits = np.column_stack([within.lb, within.ub])
        relaxed = linprog(
            nothing, -self.inequalities, -self.at_least, self.equations, self.equal_to, limits, method="highs"
        )
        if relaxed.status == INFEASIBLE:
            return None
        if relaxed.x is not None and self._agrees(np.round(relaxed.x), within):
            return np.round(relaxed.x)
        for presolve in (True, False):
            options = {"presolve": presolve, "time_limit": SECONDS}
            solved = milp(nothing, integrality=1, bounds=within, constraints=self._constraints(), options=options)
            if solved.x is not None and self._agrees(np.round(solved.x), within):
                return np.round(solved.x)
        return None

    def _agrees(self, x: np.ndarray, within: Bounds) -> bool:
        return bool(
            (x >= within.lb).all()
            and (x <= within.ub).all()
            and (np.abs(self.equations @ x - self.equal_to) <= NEAR).all()
            and (self.inequalities @ x >= self.at_least - NEAR).all()
        )

    def _constraints(self) -> list[LinearConstraint]:
        return [
            LinearConstraint(matrix, low, high)
            for matrix, low, high in (
                (self.equations, self.equal_to, self.equal_to),
                (self.inequalities, self.at_least, np.inf),
            )
            if matrix.shape[0]
        ]

    def _lowest(self, objective: np.ndarray, integers: bool) -> float:
        limits = np.column_stack([self.within.lb, self.within.ub])
        solved = linprog(
            objective, -self.inequalities, -self.at_least, self.equations, self.equal_to, limits, method="highs"
        )
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
        # With its presolve HiGHS (scipy 1.17) has called 1 the highest of a number that can be 3: too narrow a bound.
        options = {"presolve": False, "time_limit": SECONDS}
        solved = milp(objective, integrality=1, bounds=self.within, constraints=self._constraints(), options=options)
        if solved.status == OUT_OF_TIME:
            # No answer counts as open: nothing further off was found than this.
            return float(solved.fun) if solved.x is not None else np.inf
        return _value_found(solved)


def _value_found(solved: OptimizeResult) -> float:
    if solved.status == INFEASIBLE:
        raise ValueError("no series agrees with the values")
    if solved.status != 0:
        raise RuntimeError(solved.message)
    return float(solved.fun)
