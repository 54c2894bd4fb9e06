"""How the counts hang together: what a reader knows of them without any value.

Counts of the same sites are one *number*. A reader is taken to know of which numbers another is a part, which have
nobody in common, and every way in which the numbers of one table add up: a table is a set of linear equations over
numbers that are not negative (Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4; from memory).
Equations that hold by chance in this series only are taken to be known too, which errs on the safe side.

- within a table, all linear equations; if A and B lie in C: A + B ≤ C + (what A and B have in common), where the last
  is nothing or a number itself (the bounds of Bonferroni and Fréchet);
- between all tables: a number that stands in both is the same; a part is at most the whole; two parts without overlap
  add up to their whole; patients ≤ their sites ≤ patients × most sites of a patient.

What a reader is not taken to know: which combinations of three and more groups occur. If that were known of a whole
table, 600 sites in 100 groups would leave hardly any number free, and all would have to be withheld.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array, vstack

from liftseries.disclosure.counts import Count

NOUGHT = 1e-9  # of numbers that come from adding and subtracting 0 and 1
Relation = dict[int, float]  # number -> coefficient


@dataclass(frozen=True, eq=False)
class Number:
    """All counts of the same sites in the same unit.

    Attributes
    ----------
    members : shape (n_sites,), true/false; of patients, all sites of each
    unit : "sites" or "patients"
    counts : the counts that say this number
    """

    members: np.ndarray
    unit: str
    counts: tuple[Count, ...]

    @property
    def published(self) -> bool:
        """Whether a reader sees it somewhere."""
        return any(count.published for count in self.counts)

    @property
    def fixed(self) -> bool:
        """Whether it is known from elsewhere."""
        return any(count.fixed for count in self.counts)


@dataclass(frozen=True)
class Together:
    """What a reader knows of several counts at once: lowest ≤ their sum, each times its coefficient, ≤ highest."""

    of: Mapping[str, float]
    lowest: float
    highest: float


@dataclass(frozen=True, eq=False)
class Structure:
    """The numbers of a ledger and what binds them.

    Attributes
    ----------
    numbers
    number_of : name of a count -> index of its number
    equations : shape (n_equations, n_numbers): equations @ values = 0
    inequalities : shape (n_inequalities, n_numbers): inequalities @ values ≥ at_least
    at_least : shape (n_inequalities,), nought but of what was told of these numbers before
    """

    numbers: tuple[Number, ...]
    number_of: dict[str, int]
    equations: csr_array
    inequalities: csr_array
    at_least: np.ndarray


def structure_of(counts: Sequence[Count], patients: np.ndarray) -> Structure:
    """The structure of a ledger whose names are unique.

    Parameters
    ----------
    counts
    patients : shape (n_sites,), int
    """
    _, patient = np.unique(np.asarray(patients), return_inverse=True)
    numbers, number_of = _merged(counts, patient)
    tables: dict[tuple[str, str], set[int]] = defaultdict(set)
    for count in counts:
        tables[count.table, count.unit].add(number_of[count.name])
    sets = np.array([number.members for number in numbers], bool).reshape(len(numbers), len(patient))
    equations: list[Relation] = [{i: 1.0} for i in np.flatnonzero(~sets.any(axis=1))]  # of nobody: nought
    inequalities: list[Relation] = []
    for shown in tables.values():
        here = np.array(sorted(i for i in shown if sets[i].any()), int)
        atoms = _distinct(sets[here])
        equations += _named(_all_equations(atoms), here)
        inequalities += _named(_overlaps(atoms), here)
    for unit in ("sites", "patients"):
        here = np.array([i for i, number in enumerate(numbers) if number.unit == unit and sets[i].any()], int)
        equations += _named(_sums_of_two(sets[here]), here)
        inequalities += _named(_parts(sets[here]), here)
    inequalities += _patients_and_their_sites(numbers, patient)
    n = len(numbers)
    bounded = _matrix(inequalities, n)
    return Structure(tuple(numbers), number_of, _matrix(equations, n), bounded, np.zeros(bounded.shape[0]))


def with_told(structure: Structure, told: Sequence[Together]) -> Structure:
    """The same, and what was told before of several numbers together."""
    if not told:
        return structure
    more, at_least = rows_of(structure, told)
    return replace(
        structure,
        inequalities=csr_array(vstack([structure.inequalities, more])),
        at_least=np.concatenate([structure.at_least, at_least]),
    )


def rows_of(structure: Structure, further: Sequence[Together]) -> tuple[csr_array, np.ndarray]:
    """Rows that at_least bounds from below, two of each; a limit that is none is left out."""
    entries: list[tuple[int, int, float]] = []
    at_least: list[float] = []
    for one in further:
        for sign, least in ((1.0, one.lowest), (-1.0, -one.highest)):
            if least > -np.inf:
                entries += [(len(at_least), structure.number_of[name], sign * times) for name, times in one.of.items()]
                at_least.append(least)
    rows, numbers, values = np.array(entries, float).reshape(-1, 3).T
    shape = (len(at_least), len(structure.numbers))
    return csr_array((values, (rows.astype(int), numbers.astype(int))), shape=shape), np.array(at_least, float)


def closed(members: np.ndarray, patient: np.ndarray) -> np.ndarray:
    """All sites of the patients who have a site among the members; patients numbered 0, 1, 2 …"""
    seen = np.zeros(patient.max(initial=-1) + 1, bool)
    seen[patient[members]] = True
    return seen[patient]


def _merged(counts: Sequence[Count], patient: np.ndarray) -> tuple[list[Number], dict[str, int]]:
    index: dict[tuple[str, bytes], int] = {}
    said: list[list[Count]] = []
    members_of, number_of = [], {}
    for count in counts:
        members = np.asarray(count.members, bool)
        if count.unit == "patients":
            members = closed(members, patient)
        number = index.setdefault((count.unit, np.packbits(members).tobytes()), len(said))
        if number == len(said):
            said.append([])
            members_of.append(members)
        said[number].append(count)
        number_of[count.name] = number
    numbers = [Number(members, of[0].unit, tuple(of)) for members, of in zip(members_of, said, strict=True)]
    return numbers, number_of


def _distinct(sets: np.ndarray) -> np.ndarray:
    """Sites that belong to the same sets taken for one; shape (n_sets, n_atoms)."""
    sets = sets[:, sets.any(axis=0)]
    if not sets.size:
        return sets
    return sets[:, np.unique(np.packbits(sets, axis=0), axis=1, return_index=True)[1]]


def _all_equations(atoms: np.ndarray) -> Iterator[Relation]:
    """A basis of all linear equations between the rows, by elimination from the smallest set up."""
    n_sets, n_atoms = atoms.shape
    reduced, made_of = np.zeros((0, n_atoms)), np.zeros((0, n_sets))
    pivots: list[int] = []
    for row in np.argsort(atoms.sum(axis=1), kind="stable"):
        rest, made = atoms[row].astype(float), np.zeros(n_sets)
        made[row] = 1
        share = rest[pivots]
        rest, made = rest - share @ reduced, made - share @ made_of
        pivot = int(np.argmax(np.abs(rest)))
        if abs(rest[pivot]) < NOUGHT:
            yield {int(i): float(made[i]) for i in np.flatnonzero(np.abs(made) > NOUGHT)}
            continue
        rest, made = rest / rest[pivot], made / rest[pivot]
        others = reduced[:, [pivot]]
        reduced, made_of = np.vstack([reduced - others * rest, rest]), np.vstack([made_of - others * made, made])
        pivots.append(pivot)


def _overlaps(atoms: np.ndarray) -> Iterator[Relation]:
    """A + B ≤ C + (A and B), where the last is nothing or a row itself; C the smallest row that holds both."""
    sets = atoms.astype(np.int32)
    size = sets.sum(axis=1)
    common = sets @ sets.T
    inside = common == size[:, None]  # row within column
    by_size = np.argsort(size, kind="stable")
    place = {np.packbits(row).tobytes(): i for i, row in enumerate(atoms)}
    holder = np.array([_first(inside[a][None, by_size] & inside[:, by_size], by_size) for a in range(len(size))])
    apart = (common == 0) & (holder.reshape(common.shape) >= 0)
    for a in range(len(size)):
        larger = np.flatnonzero(inside[a] & (size > size[a]))
        # With a larger set in place of A the same holds, and says more.
        weaker = (apart[larger] & (holder[larger] == holder[a])).any(axis=0)
        for b in np.flatnonzero(apart[a] & ~weaker):
            if a < b and size[a] + size[b] < size[holder[a, b]]:
                yield {a: -1.0, int(b): -1.0, int(holder[a, b]): 1.0}
        for b in np.flatnonzero((common[a] > 0) & ~inside[a] & ~inside[:, a] & (holder[a] >= 0)):
            if a < b and (both := place.get(np.packbits(atoms[a] & atoms[b]).tobytes())) is not None:
                yield {a: -1.0, int(b): -1.0, int(holder[a, b]): 1.0, both: 1.0}


def _first(holds: np.ndarray, order: np.ndarray) -> np.ndarray:
    """For each row the first, in an order, that holds; -1 where none does."""
    return np.where(holds.any(axis=1), order[holds.argmax(axis=1)], -1)


def _parts(sets: np.ndarray) -> Iterator[Relation]:
    """A part is at most the next larger whole."""
    counted = sets.astype(np.float32)
    size = counted.sum(axis=1)
    within = ((counted @ counted.T) == size[:, None]) & (size[:, None] < size[None, :])
    between = (within.astype(np.float32) @ within.astype(np.float32)) > 0
    for part, whole in zip(*np.nonzero(within & ~between), strict=True):
        yield {int(part): -1.0, int(whole): 1.0}


def _sums_of_two(sets: np.ndarray) -> Iterator[Relation]:
    """Part + other part = whole, where the parts do not overlap.

    A random 64-bit number a site turns a set into the sum of its sites' numbers, and a union without overlap into the
    sum of two; what agrees is then compared site by site.
    """
    tickets = np.random.default_rng(0).integers(0, 2**63, sets.shape[1]).astype(np.uint64)
    sums = np.array([tickets[members].sum(dtype=np.uint64) for members in sets], np.uint64)
    place = {int(total): i for i, total in enumerate(sums)}
    for whole, total in enumerate(sums):
        rest = total - sums
        for part in np.flatnonzero(np.isin(rest, sums)):
            other = place[int(rest[part])]
            if part < other and not (sets[part] & sets[other]).any() and _same(sets[part] | sets[other], sets[whole]):
                yield {int(part): 1.0, other: 1.0, whole: -1.0}


def _same(one: np.ndarray, other: np.ndarray) -> bool:
    return bool((one == other).all())


def _patients_and_their_sites(numbers: Sequence[Number], patient: np.ndarray) -> Iterator[Relation]:
    """Whoever stands behind a count of sites has at least one of them, and at most as many as anybody has."""
    most = float(np.bincount(patient).max(initial=1))
    of_patients = {
        np.packbits(number.members).tobytes(): i for i, number in enumerate(numbers) if number.unit == "patients"
    }
    for i, number in enumerate(numbers):
        behind = of_patients.get(np.packbits(closed(number.members, patient)).tobytes())
        if number.unit == "sites" and behind is not None:
            yield {i: 1.0, behind: -1.0}
            yield {i: -1.0, behind: most}


def _named(relations: Iterable[Relation], numbers: np.ndarray) -> Iterator[Relation]:
    for relation in relations:
        yield {int(numbers[i]): coefficient for i, coefficient in relation.items()}


def _matrix(relations: Sequence[Relation], n_numbers: int) -> csr_array:
    """One row a relation; the same relation found twice is one."""
    distinct = list(dict.fromkeys(tuple(sorted(relation.items())) for relation in relations))
    rows = np.repeat(np.arange(len(distinct)), [len(relation) for relation in distinct])
    columns = np.array([i for relation in distinct for i, _ in relation], int)
    values = np.array([coefficient for relation in distinct for _, coefficient in relation], float)
    return csr_array((values, (rows, columns)), shape=(len(distinct), n_numbers))
