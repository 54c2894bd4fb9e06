"""The unknown numbers of a ledger, in parts of which none tells anything of another, and the series that agree.

What is known of them is what is printed: numbers, ranges, and what several come to together.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack
from scipy.sparse.csgraph import connected_components

from liftseries.disclosure.structure import Structure, Together, rows_of

OUT_OF_TIME, INFEASIBLE, UNBOUNDED = 1, 2, 3  # what scipy.optimize calls them
NEAR = 1e-6  # how closely what is known must agree

Value = int | tuple[float, float] | None

BRIEF = {"node_limit": 100, "mip_rel_gap": 0.1}  # of a look for whole numbers, near the lowest at best
FIRST = 3  # goals that are looked at each alone, before as many at once as can be
SECONDS = 30.0  # a whole-number programme may take; one without an answer counts as open


class NoSeries(ValueError):
    """What is known contradicts itself."""

    def __init__(self) -> None:
        super().__init__("no series agrees with the values")


def goals_of(structure: Structure, needed: Mapping[str, tuple[float, float]]) -> dict[int, tuple[float, float]]:
    """What each number must be able to fall to and to rise to; of its names each has its needs."""
    goals: dict[int, tuple[float, float]] = {}
    for name, (low, high) in needed.items():
        number = structure.number_of[name]
        lowest, highest = goals.get(number, (low, high))
        goals[number] = min(low, lowest), max(high, highest)
    return goals


def known_of(structure: Structure, values: Mapping[str, Value]) -> tuple[dict[int, float], dict[int, tuple]]:
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


def parts_of(
    structure: Structure,
    known: Mapping[int, float],
    within: Mapping[int, tuple],
    further: Sequence[Together] = (),
    holding: Collection[int] | None = None,
) -> Iterator[_Part]:
    """What is unknown, in parts of which none tells anything of another; where asked, those that hold some numbers.

    Raises
    ------
    NoSeries
        What is known contradicts itself.
    """
    n = len(structure.numbers)
    value = np.array([known.get(i, 0.0) for i in range(n)])
    unknown = np.array([i for i in range(n) if i not in known], int)
    more, at_least = rows_of(structure, further)
    relations = csr_array(vstack([structure.equations, structure.inequalities, more]))
    is_equation = np.arange(relations.shape[0]) < structure.equations.shape[0]
    at_least = np.concatenate([np.zeros(structure.equations.shape[0]), structure.at_least, at_least])
    rest = at_least - relations @ value  # what the unknown ones of each relation come to, or come to at least
    relations = csr_array(relations[:, unknown])
    settled = np.diff(relations.indptr) == 0
    if (rest[settled] > NEAR).any() or (rest[settled & is_equation] < -NEAR).any():
        raise NoSeries
    pairs = coo_array(relations)
    size = len(unknown) + relations.shape[0]
    links = coo_array((np.ones(len(pairs.data)), (pairs.col, pairs.row + len(unknown))), shape=(size, size))
    label = connected_components(links, directed=False)[1]
    of_number, of_relation = label[: len(unknown)], label[len(unknown) :]
    for one in np.unique(of_number if holding is None else of_number[np.isin(unknown, list(holding))]):
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

    def reached(
        self, goals: Mapping[int, tuple[float, float]], tried: Sequence[np.ndarray] = (), *, stop: bool = False
    ) -> tuple[dict[int, tuple[float, float]], np.ndarray]:
        """Each number that has goals with its lowest and highest value in series that agree; and those found anew.

        Those of the series `tried`, of all numbers of the structure, that agree with what is known are looked at first.
        Where it is to `stop`, see `series_for`.
        """
        here = [column for column, number in enumerate(self.numbers) if int(number) in goals]
        none = np.empty((0, len(self.numbers)))
        if not here:
            return {}, none
        kept = self.agreeing(np.array(tried)[:, self.numbers]) if len(tried) else none
        every, _ = self.series_for(goals, kept, stop=stop)
        lowest, highest = every.min(axis=0, initial=np.inf), every.max(axis=0, initial=-np.inf)
        limits = {int(self.numbers[column]): (lowest[column], highest[column]) for column in here}
        return limits, every[len(kept) :]

    def series_for(
        self, goals: Mapping[int, tuple[float, float]], series: np.ndarray, *, stop: bool = False
    ) -> tuple[np.ndarray, list[int]]:
        """Series of these numbers, those given and what it takes more to reach all goals; and which numbers miss one.

        Where it is to `stop`, goals are looked at briefly, in their order, until the first that is missed.

        Parameters
        ----------
        goals : number -> what it must fall to, and rise to
        series : shape (n_series, n_numbers), such as agree with what is known

        Raises
        ------
        NoSeries
            What is known contradicts itself; where it is to `stop`, even of numbers that need not be whole.
        """
        place = {int(number): column for column, number in enumerate(self.numbers)}
        here, missed = [number for number in goals if number in place], []
        columns = [place[number] for number in here]
        lows, highs = np.array([goals[number] for number in here], float).reshape(-1, 2).T
        if not len(series):
            first = self._series(self.within, brief=stop)
            if first is None:
                if stop and not self.is_impossible():
                    return series, here[:1]
                raise NoSeries
            series = first[None]
        for k, (number, column) in enumerate(zip(here, columns, strict=True)):
            if k == FIRST:
                series = self._sweeps(columns, lows, highs, series)
            for at_most, at_least in ((lows[k], 0.0), (np.inf, highs[k])):
                if not ((series[:, column] >= at_least) & (series[:, column] <= at_most)).any():
                    found = self._reaching(column, at_least, at_most, brief=stop)
                    if found is not None:
                        series = np.vstack([series, found])
                    elif number not in missed:
                        missed.append(number)
                if stop and missed:
                    return series, missed
        return series, missed

    def _reaching(self, column: int, at_least: float, at_most: float, *, brief: bool) -> np.ndarray | None:
        """A series in which a number lies between two; None where none is found."""
        lowest, highest = self.within.lb.copy(), self.within.ub.copy()
        lowest[column], highest[column] = max(lowest[column], at_least), min(highest[column], at_most)
        return self._series(Bounds(lowest, highest), brief=brief) if lowest[column] <= highest[column] else None

    def _sweeps(self, columns: list[int], lows: np.ndarray, highs: np.ndarray, series: np.ndarray) -> np.ndarray:
        """The series, and further ones in each of which as many as can be reach a goal that none reaches."""
        highest = self.within.ub.copy()
        highest[columns] = np.minimum(highest[columns], np.maximum(highs, self.within.lb[columns]))
        for sign, goal in ((1.0, lows), (-1.0, highs)):
            left = np.inf
            while True:
                nearest = (sign * series[:, columns]).min(axis=0)
                to_reach = np.array(columns)[nearest > sign * goal]
                if not 1 < len(to_reach) < left:
                    break
                left = len(to_reach)
                objective = np.zeros(len(self.numbers))
                objective[to_reach] = sign
                one = self._series(Bounds(self.within.lb, highest), brief=True, objective=objective)
                series = series if one is None else np.vstack([series, one])
        return series

    def agreeing(self, series: np.ndarray) -> np.ndarray:
        """Those of some values that agree with all that is known, shape (n_series, n_numbers)."""
        series = series[((series >= self.within.lb) & (series <= self.within.ub)).all(axis=1)]
        agrees = (np.abs(self.equations @ series.T - self.equal_to[:, None]) <= NEAR).all(axis=0)
        agrees &= (self.inequalities @ series.T >= self.at_least[:, None] - NEAR).all(axis=0)
        return series[agrees]

    def is_impossible(self) -> bool:
        """Whether no values agree with all that is known, not even such as are not whole."""
        return self._relaxed(np.zeros(len(self.numbers)), self.within).status == INFEASIBLE

    def _relaxed(self, objective: np.ndarray, within: Bounds) -> OptimizeResult:
        """The lowest of an objective, of numbers that need not be whole."""
        limits = np.column_stack([within.lb, within.ub])
        return linprog(
            objective, -self.inequalities, -self.at_least, self.equations, self.equal_to, limits, method="highs"
        )

    def _series(self, within: Bounds, *, brief: bool = False, objective: np.ndarray | None = None) -> np.ndarray | None:
        """Whole numbers within limits that agree with all that is known; None where none were found, or not briefly."""
        if not brief:
            relaxed = self._relaxed(np.zeros(len(self.numbers)), within)
            if relaxed.status == INFEASIBLE:
                return None
            if relaxed.x is not None and self._agrees(np.round(relaxed.x), within):
                return np.round(relaxed.x)
        for presolve in (True,) if brief else (True, False):
            options = {"presolve": presolve, "time_limit": SECONDS} | (BRIEF if brief else {})
            lowest = np.zeros(len(self.numbers)) if objective is None else objective
            solved = milp(lowest, integrality=1, bounds=within, constraints=self._constraints(), options=options)
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
        solved = self._relaxed(objective, self.within)
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
        raise NoSeries
    if solved.status != 0:
        raise RuntimeError(solved.message)
    return float(solved.fun)
