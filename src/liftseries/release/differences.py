"""What a reader has by taking printed counts off each other: groups of few patients that nobody prints.

647 sites of which 644 were followed tell of three that were not; 47 perforations, 30 where drilling went as planned and
13 where it did not, tell of four without a log; 100 sites less 60 with a log, less 80 of known perforation, and 43 of
both again, tell of three that have neither; 16, 8 and 10 patients under three protocols, 33 in all, tell of one who had
two of them. Each such group is a target of the attack, and what it is worked out from
is a table of its own: a reader sees these counts side by side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from liftseries.disclosure.counts import Count, n_of

MOST_PARTS = 100  # of a table that are tried by threes; rows that leave have every combination in the ledger already
Found = tuple[int, tuple[int, ...], np.ndarray]  # the whole, what is taken off or added again, what is left


@dataclass(frozen=True)
class _Shown:
    """The different sets of one unit.

    Attributes
    ----------
    sets : shape (n_sets, n_sites), true/false
    counts : of each set, every count that says it
    sizes : shape (n_sets,), int
    common : shape (n_sets, n_sets), int, sites that two have in common
    tables : of each set, where it is seen
    """

    sets: np.ndarray
    counts: list[list[Count]]
    sizes: np.ndarray
    common: np.ndarray
    tables: list[set[str]]

    @classmethod
    def of(cls, counts: Sequence[Count]) -> _Shown:
        """The sets of some counts of one unit."""
        said: dict[bytes, list[Count]] = {}
        for count in counts:
            said.setdefault(np.packbits(count.members).tobytes(), []).append(count)
        sets = np.array([of[0].members for of in said.values()], bool)
        counted = sets.astype(np.float32)
        common = (counted @ counted.T).astype(np.int32)
        tables = [{count.table for count in of} for of in said.values()]
        return cls(sets, list(said.values()), sets.sum(axis=1), common, tables)


def small_differences(counts: Sequence[Count], patients: np.ndarray, smallest_cell: int) -> list[Count]:
    """What is left of a count when others that it contains are taken off, or stands in two of them, where it is few.

    Parameters
    ----------
    counts : all that are printed, or known
    patients : shape (n_sites,), int
    smallest_cell : k

    Returns
    -------
    The groups left, unpublished; and where they are worked out from several counts that stand in no table together,
    those counts again in one of its own.
    """
    found: list[Count] = []
    most = smallest_cell * int(np.bincount(patients).max(initial=1))
    for unit in ("sites", "patients"):
        here = [count for count in counts if count.unit == unit]
        if not here:
            continue
        shown = _Shown.of(here)
        known = {np.packbits(members).tobytes() for members in shown.sets}
        targets: dict[bytes, list[Found]] = {}
        enough = np.array([n_of(patients, members) >= smallest_cell for members in shown.sets], bool)
        for large, taken, rest in _few_left(shown, enough, most):
            key = np.packbits(rest).tobytes()
            if n_of(patients, rest) < smallest_cell:
                targets.setdefault(key, []).append((large, taken, rest))
        for key, ways in targets.items():
            found += _entered(shown, ways, f"difference {unit} {len(found)}", printed=key in known)
    return found


def _entered(shown: _Shown, ways: list[Found], name: str, *, printed: bool) -> Iterator[Count]:
    """A group left, in a table with all that it is worked out from for each way to do so."""
    entered: set[str] = set()
    for number, (large, taken, rest) in enumerate(ways):
        together = set.intersection(*(shown.tables[k] for k in (large, *taken)))
        if len(taken) == 1 and (printed or entered):
            continue  # that a part and the rest make up a whole is seen between all tables
        if together or len(taken) == 1:
            table = min(together or shown.tables[large])
        else:
            table = f"{name}, way {number}"
            for k in (large, *taken):
                count = shown.counts[k][0]
                yield replace(count, name=f"{count.name.rpartition(' | ')[0] or count.name} | {table}", table=table)
        if table not in entered:
            entered.add(table)
            yield Count(f"{name} | {table}", rest, shown.counts[large][0].unit, published=False, table=table)


def _few_left(shown: _Shown, enough: np.ndarray, most: int) -> Iterator[Found]:
    """Sets less one that they contain, less two, less three of one table, where fewer sites than `most` are left.

    Of several that are taken off, each is of patients enough to be told.
    """
    sets, sizes, common = shown.sets, shown.sizes, shown.common
    within = (common == sizes[:, None]) & (sizes[:, None] < sizes[None, :])
    left = sizes[None, :] - sizes[:, None]
    for small, large in zip(*np.nonzero(within & (left < most)), strict=True):
        yield large, (small,), sets[large] & ~sets[small]
    place = {np.packbits(members).tobytes(): k for k, members in enumerate(sets)}
    for large in np.flatnonzero(enough):
        parts = np.flatnonzero(within[:, large] & enough)
        both = common[np.ix_(parts, parts)]
        rest = sizes[large] - sizes[parts][:, None] - sizes[parts][None, :] + both
        apart = both < np.minimum(sizes[parts][:, None], sizes[parts][None, :])  # neither holds the other
        for i, j in zip(*np.nonzero(np.triu(apart, 1) & (rest > 0) & (rest < most)), strict=True):
            one, other = int(parts[i]), int(parts[j])
            taken = (one, other)
            if both[i, j]:
                shared = place.get(np.packbits(sets[one] & sets[other]).tobytes())
                if shared is None or not enough[shared]:
                    continue
                taken = (one, other, shared)
            yield int(large), taken, sets[large] & ~sets[one] & ~sets[other]
        twice = (rest == 0) & apart & (both > 0) & (both < most)
        for i, j in zip(*np.nonzero(np.triu(twice, 1)), strict=True):
            yield int(large), (int(parts[i]), int(parts[j])), sets[parts[i]] & sets[parts[j]]
        yield from _less_three(shown, int(large), parts, most)


def _less_three(shown: _Shown, large: int, parts: np.ndarray, most: int) -> Iterator[Found]:
    """A set less three that share nothing, or what stands in two of three that make it up, of one table.

    Of those that share nothing one may stand elsewhere: who are treated by a protocol are those lifted by its method.
    """
    found: set[tuple[int, ...]] = set()
    for table in sorted(shown.tables[large]):
        beside = np.array([part for part in parts if table in shown.tables[part]], int)
        if not 2 <= len(beside) <= MOST_PARTS:
            continue
        of_two = shown.common[np.ix_(beside, beside)]
        apart = np.triu(of_two == 0, 1)
        size = shown.sizes[beside]
        rest = shown.sizes[large] - size[:, None, None] - size[:, None] - shown.sizes[parts]
        beyond = shown.common[np.ix_(beside, parts)] == 0
        three = apart[:, :, None] & beyond[None] & beyond[:, None, :] & (rest > 0) & (rest < most)
        found |= {tuple(sorted((*beside[[i, j]].tolist(), int(parts[k])))) for i, j, k in np.argwhere(three)}
        rest = shown.sizes[large] - size[:, None, None] - size[:, None] - size
        within = of_two == np.minimum(size[:, None], size)
        ordered = np.triu(~within, 1)
        twice = ordered[:, :, None] & ordered[None] & ordered[:, None, :] & (rest < 0) & (rest > -most)
        for at in np.argwhere(twice):
            times = shown.sets[beside[at]].sum(axis=0)
            if times.max() == 2 and np.array_equal(times > 0, shown.sets[large]):
                yield large, tuple(int(part) for part in beside[at]), times == 2
    for taken in sorted(found):
        yield large, taken, shown.sets[large] & ~shown.sets[list(taken)].any(axis=0)
