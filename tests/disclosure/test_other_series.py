"""Which other series proves that a withheld count may be something else: the cheapest, in whole sites, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from liftseries.disclosure.counts import Count, value_of
from liftseries.disclosure.other_series import cheapest_other_series
from liftseries.disclosure.structure import structure_of


def series_of(counts: list[Count], name: str, goal: float, prices: dict[str, float], **limits: tuple[float, float]):
    """What differs, by name; only what has a price is free to, and nothing is below nought."""
    patients = np.arange(len(counts[0].members))
    structure = structure_of(counts, patients)
    names = [number.counts[0].name for number in structure.numbers]
    value = np.array([value_of(number.counts[0], patients) for number in structure.numbers], float)
    free = np.array(sorted(names.index(one) for one in prices))
    price = np.array([prices[names[i]] for i in free])
    lowest, highest = (np.array([limits.get(one, (0.0, np.inf))[k] for one in names]) for k in (0, 1))
    found = cheapest_other_series(structure, value, names.index(name), goal, free, price, lowest, highest)
    assert found.whole
    return {names[i]: other for i, other in found.values.items()}


def row_of(**sizes: int) -> list[Count]:
    """Groups without overlap in one table, and all of them."""
    group = np.repeat(list(sizes), list(sizes.values()))
    return [
        *(Count(name, group == name, table="t") for name in sizes),
        Count("all", np.ones(len(group), bool), table="t"),
    ]


THREE = row_of(few=2, some=5, many=40)


@pytest.mark.parametrize(
    ("prices", "expected"),
    [
        ({"some": 1, "many": 2, "all": 3}, {"few": 4, "some": 3}),
        ({"some": 2, "many": 1, "all": 3}, {"few": 4, "many": 38}),
        ({"some": 3, "many": 2, "all": 1}, {"few": 4, "all": 49}),
        ({"all": 9}, {"few": 4, "all": 49}),
    ],
)
def test_what_costs_least_makes_up_for_it(prices, expected):
    assert series_of(THREE, "few", 4, {"few": 0.001} | prices) == expected


def test_a_count_may_be_more_or_less_as_is_asked():
    prices = {"few": 0.001, "some": 1, "many": 2}
    assert series_of(THREE, "few", 1, prices) == {"few": 1, "some": 6}
    assert series_of(THREE, "few", 0, prices) == {"few": 0, "some": 7}
    assert series_of(THREE, "few", 2, prices) == {}


def test_what_is_told_of_the_others_limits_how_far_they_go():
    """`some` is known to be no fewer than it is, then no more; then to be four at least."""
    prices = {"few": 0.001, "some": 1, "many": 2}
    assert series_of(THREE, "few", 4, prices, some=(5, np.inf)) == {"few": 4, "many": 38}
    assert series_of(THREE, "few", 0, prices, some=(0, 5)) == {"few": 0, "many": 42}
    assert series_of(THREE, "few", 3, prices, some=(4, np.inf)) == {"few": 3, "some": 4}


def test_a_goal_that_cannot_be_reached_is_come_near_to():
    prices = {"few": 0.001, "some": 1}
    assert series_of(THREE, "few", 9, prices) == {"few": 7, "some": 0}
    assert series_of(THREE, "few", 9, prices, few=(0, 4)) == {"few": 4, "some": 3}
    assert series_of(THREE, "few", 9, prices, some=(3, np.inf)) == {"few": 4, "some": 3}
    assert series_of(THREE, "few", 9, {"few": 0.001}) == {}


def test_withholding_costs_the_same_however_much_a_count_differs():
    """A site a piece the near one costs less; but it can give one alone, and the far one has to be withheld anyway."""
    counts, prices = row_of(few=2, near=30, far=40), {"few": 0.001, "near": 1.0, "far": 1.1}
    assert series_of(counts, "few", 8, prices, near=(29, np.inf)) == {"few": 8, "far": 34}
    assert series_of(counts, "few", 8, prices) == {"few": 8, "near": 24}


def pairs() -> list[Count]:
    """Three sites, each in two of three pairs: the pairs are together twice the whole."""
    sets = {"ab": (0, 1), "ac": (0, 2), "bc": (1, 2), "abc": (0, 1, 2)}
    return [Count(name, np.isin(np.arange(30) % 3, sites), table="t") for name, sites in sets.items()]


def test_another_series_has_whole_sites():
    """One more in a pair alone would be half a site more in the whole: then it is two, or another pair has one less."""
    whole = {"ab": 0.001, "abc": 1.0}
    prices = whole | {"ac": 3.0, "bc": 4.0}
    assert series_of(pairs(), "ab", 22, prices) == {"ab": 22, "abc": 31}
    assert series_of(pairs(), "ab", 21, prices) == {"ab": 22, "abc": 31}
    assert series_of(pairs(), "ab", 21, prices, abc=(0, 30.5)) == {"ab": 21, "ac": 19}
    assert series_of(pairs(), "ab", 21, whole, abc=(0, 30.5)) == {}
    assert series_of(pairs(), "ab", 23, whole, abc=(0, 31.5)) == {"ab": 22, "abc": 31}


def test_what_does_not_bind_a_count_stays_as_it_is():
    counts = [*THREE, Count("nobody", np.zeros(47, bool), table="t"), Count("other", np.arange(47) % 2 == 0, table="u")]
    prices = {"few": 0.001, "some": 1, "nobody": 0.5, "other": 0.5}
    assert series_of(counts, "few", 4, prices) == {"few": 4, "some": 3}
