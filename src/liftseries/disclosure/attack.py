"""The attack: what a reader of everything that is published can work out about what is withheld.

It knows how the counts hang together (`structure`) and what is printed, and nothing of how it was decided what to
withhold; so it is the check of that decision. Lowest and highest values come from linear programming over the atoms.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import block_diag, coo_array, csr_array, vstack
from scipy.sparse.csgraph import connected_components

from liftseries.disclosure.counts import Count, check_counts
from liftseries.disclosure.structure import Structure, structure_of

INFEASIBLE, UNBOUNDED = 2, 3  # what scipy.optimize calls them


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
    bounds = {i: (float(value), float(value)) for i, value in known.items()}
    for number, of in enumerate(structure.numbers):
        if not of.members.any():
            bounds.setdefault(number, (0.0, 0.0))
    for part in _parts(structure, known):
        bounds |= _Part(structure, part, known).bounds(integers)
    withheld = [count.name for count in counts if values.get(count.name) is None]
    limits = [bounds.get(structure.number_of[name], (0.0, np.inf)) for name in withheld]
    return pd.DataFrame({"name": withheld}).assign(lower=[low for low, _ in limits], upper=[high for _, high in limits])


def _known(structure: Structure, values: Mapping[str, int | None]) -> dict[int, float]:
    known: dict[int, float] = {}
    for name, number in structure.number_of.items():
        value = values.get(name)
        if value is not None and known.setdefault(number, float(value)) != float(value):
            raise ValueError(f"{name}: another count of the same sites has another value")
    return known


def _parts(structure: Structure, known: Mapping[int, float]) -> Iterable[list[int]]:
    """Blocks that share a withheld number belong together; the others tell nothing of each other."""
    blocks, numbers = [], []
    for index, block in enumerate(structure.blocks):
        for number in block.numbers:
            if int(number) not in known:
                blocks.append(index)
                numbers.append(int(number))
    n_blocks, size = len(structure.blocks), len(structure.blocks) + len(structure.numbers)
    links = coo_array((np.ones(len(blocks)), (blocks, np.array(numbers, int) + n_blocks)), shape=(size, size))
    label = connected_components(links, directed=False)[1][:n_blocks]
    return [list(np.flatnonzero(label == one)) for one in np.unique(label)]


class _Part:
    """The atoms of some blocks, and what is known of them."""

    def __init__(self, structure: Structure, blocks: Sequence[int], known: Mapping[int, float]):
        here = [structure.blocks[index] for index in blocks]
        sums = csr_array(block_diag([block.sums for block in here]))
        numbers = np.concatenate([block.numbers for block in here])
        is_known = np.array([int(number) in known for number in numbers], bool)
        self.row_of: dict[int, csr_array] = {}
        same = []
        for row in np.flatnonzero(~is_known):
            first = self.row_of.setdefault(int(numbers[row]), sums[[row]])
            if (first != sums[[row]]).nnz:
                same.append(first - sums[[row]])
        self.equal = csr_array(vstack([sums[np.flatnonzero(is_known)], *same]))
        self.equal_to = np.concatenate([[known[int(number)] for number in numbers[is_known]], np.zeros(len(same))])
        self.positive = csr_array(block_diag([block.coupling for block in here]))

    def bounds(self, integers: bool) -> dict[int, tuple[float, float]]:
        if not self.row_of:  # nothing withheld, but it must agree
            self._extreme(np.zeros(self.equal.shape[1]), integers)
        return {
            number: (self._extreme(row.toarray()[0], integers), -self._extreme(-row.toarray()[0], integers))
            for number, row in self.row_of.items()
        }

    def _extreme(self, objective: np.ndarray, integers: bool) -> float:
        solved = self._in_whole(objective) if integers else self._relaxed(objective)
        if solved.status == UNBOUNDED:
            return -np.inf
        if solved.status == INFEASIBLE:
            raise ValueError("no series agrees with the values")
        if solved.status != 0:
            raise RuntimeError(solved.message)
        return float(solved.fun)

    def _relaxed(self, objective: np.ndarray) -> OptimizeResult:
        return linprog(
            objective,
            A_ub=-self.positive if self.positive.shape[0] else None,
            b_ub=np.zeros(self.positive.shape[0]) if self.positive.shape[0] else None,
            A_eq=self.equal if self.equal.shape[0] else None,
            b_eq=self.equal_to if self.equal.shape[0] else None,
            method="highs",
        )

    def _in_whole(self, objective: np.ndarray) -> OptimizeResult:
        constraints = [LinearConstraint(self.positive, lb=0)] if self.positive.shape[0] else []
        if self.equal.shape[0]:
            constraints.append(LinearConstraint(self.equal, self.equal_to, self.equal_to))
        return milp(objective, integrality=np.ones(len(objective)), bounds=Bounds(0, np.inf), constraints=constraints)
