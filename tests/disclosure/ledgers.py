"""Invented ledgers: tables with their margins, subsets and time courses over sites that cluster in patients."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import numpy as np
from hypothesis import strategies as st

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.counts import Count, value_of

FEW = range(1, 5)  # that must stay open


def two_way(name: str, row: np.ndarray, column: np.ndarray, unit: str = "sites") -> list[Count]:
    """All cells of a table, its margins and its total."""
    everyone = np.ones(len(row), bool)
    rows, columns = np.unique(row), np.unique(column)
    counts = [Count(f"{name} {r},{c}", (row == r) & (column == c), unit, table=name) for r in rows for c in columns]
    counts += [Count(f"{name} {r},all", row == r, unit, table=name) for r in rows]
    counts += [Count(f"{name} all,{c}", column == c, unit, table=name) for c in columns]
    return [*counts, Count(f"{name} all,all", everyone, unit, table=name)]


def cells(table: Sequence[Sequence[int]]) -> list[Count]:
    """A table of one-site patients with these cells."""
    n = np.array(table)
    row, column = (np.repeat(index.ravel(), n.ravel()) for index in np.indices(n.shape))
    return two_way("table", row, column)


def every_table(total: int) -> Iterator[dict[str, int]]:
    """All 2 × 3 tables of a total, with the margins, by the names of `cells`: five bars among as many stars."""
    for bars in combinations(range(total + 5), 5):
        n = np.diff([-1, *bars, total + 5]).reshape(2, 3) - 1
        yield (
            {f"table {r},{c}": int(n[r, c]) for r in range(2) for c in range(3)}
            | {f"table {r},all": int(n[r].sum()) for r in range(2)}
            | {f"table all,{c}": int(n[:, c].sum()) for c in range(3)}
            | {"table all,all": total}
        )


def printed(counts: Iterable[Count], patients: np.ndarray, withheld: Iterable[str]) -> dict[str, int]:
    """What a reader sees."""
    withheld = set(withheld)
    return {c.name: value_of(c, patients) for c in counts if c.published and c.name not in withheld}


@st.composite
def ledgers(draw, most_patients: int = 30) -> tuple[list[Count], np.ndarray]:
    """Two tables that share a margin, one of them of patients too; a subset, what it leaves, and a time course."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    n_patients = draw(st.integers(3, most_patients))
    patients = np.repeat(np.arange(n_patients), rng.integers(1, 1 + draw(st.integers(1, 4)), n_patients))
    n = len(patients)
    row, column, other = (rng.choice(levels, n, p=_shares(rng, levels)) for levels in (2, 3, 3))
    counts = two_way("a", row, column) + two_way("b", row, other)
    if draw(st.booleans()):
        counts += two_way("a of patients", row, column, "patients")
    if draw(st.booleans()):
        known = rng.random(n) < 0.9
        counts += [Count("known", known, table="c"), Count("unknown", ~known, published=False, table="c")]
        counts += [Count("all", np.ones(n, bool), table="d"), Count("known, row 0", known & (row == 0), table="c")]
    if draw(st.booleans()):
        month = rng.integers(0, 5, n)
        counts += [Count(f"from {m}", month >= m, table="e") for m in range(5)]
        counts += [Count(f"in {m}", month == m, table="e", published=draw(st.booleans())) for m in range(5)]
    return counts, patients


def _shares(rng: np.random.Generator, levels: int) -> np.ndarray:
    return rng.dirichlet(np.full(levels, 0.7))


def groups_of(sizes: tuple[int, int], total: int) -> list[tuple[int, int, int]]:
    """How many have the event in each group, five or more, and beside them."""
    return [(one, total - one - few, few) for few in FEW for one in range(5, total - few - 4) if one <= sizes[0] - 5]


def telling_of(sizes: tuple[int, int], total: int) -> Telling:
    """What is known of such a series: all that have it, and the limits of each part."""
    n = sum(sizes) + 50
    place, (one, other, _) = np.arange(n), groups_of(sizes, total)[0]
    first, second = place < one, (place >= sizes[0]) & (place < sizes[0] + other)
    beside = place >= n - (total - one - other)
    sets = {"all": first | second | beside, "0": first, "1": second, "beside": beside}
    counts = [Count(name, members, table="t") for name, members in sets.items()]
    values = {"all": total, "beside": (0, 4)} | {str(k): (5, size - 5) for k, size in enumerate(sizes)}
    return Telling(counts, place, values, {"beside": (1.0, 4.0)})
