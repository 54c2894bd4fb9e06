"""Another series that agrees with what stays published: the proof that a withheld count may be something else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array, csr_array, hstack

from liftseries.disclosure.structure import Structure

SHORTFALL = 1e4  # what a site or patient too few costs: more than any counts withheld for it
WHOLE = 1e-6  # how far from a whole number a solver may end
MOST_BRANCHES = 200  # looking for whole numbers
ROUNDS = 2  # of looking for a change of fewer numbers


@dataclass(frozen=True)
class OtherSeries:
    """The numbers that differ from those of the series itself.

    Attributes
    ----------
    values : index of a number -> its value in the other series
    whole : all are whole numbers; otherwise it is no series, only a point that linear programming cannot exclude
    """

    values: dict[int, float]
    whole: bool


def cheapest_other_series(
    structure: Structure,
    value: np.ndarray,
    i: int,
    goal: float,
    free: np.ndarray,
    price: np.ndarray,
    lowest: np.ndarray,
    highest: np.ndarray,
    *,
    short_of_it: bool = True,
) -> OtherSeries:
    """The cheapest other series in which a number is as far off as asked, or as far as it gets.

    Withholding costs the same however much a number differs, which a linear program cannot say: it is solved again with
    the price of each number spread over what it differed by.

    Parameters
    ----------
    structure
    value : shape (n_numbers,), of the series itself
    i : index of the number; one of the free
    goal : what it should be at least, if that is more than its value, or at most
    free : shape (n_free,), indices of the numbers that may differ
    price : shape (n_free,), what each costs if it differs
    lowest, highest : shape (n_numbers,), what each can be, as it is told to be few, or would be
    short_of_it : whether a series is of use in which the number gets only part of the way; where not, and none gets
        all of it, nothing is found, and sooner
    """
    system = _System(structure, value, i, goal, free, lowest, highest)
    more = system.solve(price)
    if more[-1] > WHOLE and not short_of_it:
        return OtherSeries({}, False)
    for _ in range(ROUNDS if np.ptp(price) else 0):
        fewer = system.solve(price / np.maximum(np.abs(more[:-1]), 0.5))
        if _costs(price, fewer) >= _costs(price, more):
            break
        more = fewer
    for near in () if _is_whole(more) else _near(structure, free, price, np.abs(more[:-1]) > WHOLE):
        some = _System(structure, value, i, goal, free[near], lowest, highest)
        whole = some.solve(price[near], whole=True)
        if whole is not None and (near.all() or whole[-1] <= more[-1] + WHOLE):
            free, more = free[near], whole
            break
    is_whole = _is_whole(more)
    more = np.round(more[:-1]) if is_whole else more[:-1]
    return OtherSeries(
        {int(free[k]): float(value[free[k]] + more[k]) for k in np.flatnonzero(np.abs(more) > WHOLE)}, is_whole
    )


def _near(structure: Structure, free: np.ndarray, price: np.ndarray, differs: np.ndarray) -> Iterator[np.ndarray]:
    """Which numbers may differ where they are to be whole, shape (n_free,), true/false: few at first, then more.

    Those that differ already, and of those that cost least such as stand in an equation with one of them: a fifth of
    the time, and enough in three of four cases. Then all that cost least, which is nearly always enough.
    """
    cheapest = price <= price.min()
    rows = np.unique(structure.equations[:, free[differs]].nonzero()[0])
    beside = np.isin(free, structure.equations[rows].nonzero()[1])
    yield differs | (cheapest & beside)
    yield differs | cheapest
    if not cheapest.all():
        yield np.ones(len(free), bool)


class _System:
    """Linear constraints; unknown is what each free number has more, what it has less, and the shortfall."""

    def __init__(
        self,
        structure: Structure,
        value: np.ndarray,
        i: int,
        goal: float,
        free: np.ndarray,
        lowest: np.ndarray,
        highest: np.ndarray,
    ):
        self.n = n = len(free)
        at, up = int(np.searchsorted(free, i)), goal > value[i]
        toward = csc_array(([1.0, 1.0], ([0, 0], [at if up else n + at, 2 * n])), shape=(1, 2 * n + 1))
        self.constraints = [LinearConstraint(toward, lb=abs(goal - value[i]))]
        equal_to = np.zeros(structure.equations.shape[0])
        told = (structure.equations, equal_to, 0.0), (structure.inequalities, structure.at_least, np.inf)
        for relations, least, upper in told:
            here = csr_array(csc_array(relations)[:, free])
            rows = np.flatnonzero(np.diff(here.indptr))
            if len(rows):
                both = csc_array(hstack([here[rows], -here[rows], csr_array((len(rows), 1))]))
                self.constraints.append(LinearConstraint(both, lb=(least - relations @ value)[rows], ub=upper))
        most_more, most_less = (highest - value)[free], (value - lowest)[free]
        (most_less if up else most_more)[at] = 0
        self.bounds = Bounds(0, np.concatenate([most_more, most_less, [np.inf]]))

    def solve(self, price: np.ndarray, *, whole: bool = False) -> np.ndarray | None:
        """What each free number has more, then the shortfall; None where no whole numbers were found."""
        found = milp(
            np.concatenate([price, price, [SHORTFALL]]),
            integrality=int(whole),
            bounds=self.bounds,
            constraints=self.constraints,
            options={"node_limit": MOST_BRANCHES, "mip_rel_gap": 0.1} if whole else {"presolve": False},
        ).x
        return None if found is None else np.append(found[: self.n] - found[self.n : -1], found[-1])


def _costs(price: np.ndarray, more: np.ndarray) -> float:
    return float(price @ (np.abs(more[:-1]) > WHOLE) + SHORTFALL * more[-1])


def _is_whole(values: np.ndarray) -> bool:
    return bool((np.abs(values - np.round(values)) <= WHOLE).all())
