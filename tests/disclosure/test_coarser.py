"""What may be told roundly beside counts, so that still no small one can be told."""

from __future__ import annotations

import math
from functools import cache
from itertools import product

import numpy as np
import pytest
from disclosure.ledgers import FEW, groups_of, telling_of

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.counts import Count
from liftseries.disclosure.parts import Together

# Sixty patients of one site: ten failed in a first year, three more in a second one.
PATIENTS = np.arange(60)
BY_FIRST, BY_SECOND = PATIENTS < 10, PATIENTS < 13
COUNTS = [
    Count("all", PATIENTS >= 0, table="t"),
    Count("first", BY_FIRST, table="t"),
    Count("second", BY_SECOND, table="t"),
    Count("between", BY_SECOND & ~BY_FIRST, published=False, table="t"),
]
TOLD = {"all": 60, "second": 13, "first": None, "between": None}
NEEDED = {"between": (1.0, 4.0)}


def between(low: float, high: float) -> Together:
    return Together({"second": 1.0, "first": -1.0}, low, high)


@pytest.mark.parametrize(
    ("low", "high", "is_recovered"),
    [(1, 4, False), (0, 20, False), (2, 9, True), (0, 3, True), (3, 3, True)],
)
def test_a_range_that_holds_one_and_four_tells_nothing(low, high, is_recovered):
    found = told_apart(COUNTS, PATIENTS, TOLD, NEEDED, [between(low, high)])
    assert found["recovered"].tolist() == [is_recovered]
    assert Telling(COUNTS, PATIENTS, TOLD, NEEDED).takes([between(low, high)]) is not is_recovered


def test_what_is_known_of_several_counts_together_is_used():
    """A share of 0.15 to 0.18 of sixty by the first year: 9 to 10, which leaves 3 to 4 of the thirteen."""
    share = [
        Together({"first": 1.0, "all": -0.15}, 0.0, math.inf),
        Together({"first": -1.0, "all": 0.18}, 0.0, math.inf),
    ]
    found = told_apart(COUNTS, PATIENTS, TOLD, NEEDED, share)
    assert found["recovered"].tolist() == [True]
    assert found["lower"].iloc[0] >= 3


def test_two_ranges_that_tell_it_only_together_are_not_both_taken():
    telling = Telling(COUNTS, PATIENTS, TOLD, NEEDED)
    assert telling.takes([between(1, 20)])
    assert not telling.takes([between(-5, 3)])
    assert telling.takes([between(0, 4)])
    assert told_apart(COUNTS, PATIENTS, TOLD, NEEDED, telling.told)["recovered"].tolist() == [False]


# Of a series that is told, some in two groups and one to four beside them have the event; how many of each group is
# withheld and their shares may be told roundly. Every such series of three tables, group sizes and numbers with it.
TABLES = [((40, 40), 15), ((40, 200), 16), ((200, 300), 25)]
UNITS = (0.01, 0.02, 0.05)


def cell(group: int, multiple: int, width: float) -> list[Together]:
    return [Together({str(group): 1.0}, (multiple - 0.5) * width, (multiple + 0.5) * width - 0.01)]


Shares = tuple[tuple[int, float, int], ...]  # group, unit and multiple of each share that is told, in turn


@cache
def telling_after(sizes: tuple[int, int], total: int, told: Shares) -> Telling:
    """What is known when these shares are told too."""
    telling = telling_of(sizes, total)
    for group, unit, multiple in told:
        assert telling.takes(cell(group, multiple, unit * sizes[group]))
    return telling


@cache
def may_be_told(
    sizes: tuple[int, int], total: int, told: Shares, group: int, unit: float, multiple: int | None
) -> bool:
    """Whether this multiple leaves all open, or each that there can be where it is None."""
    telling, width = telling_after(sizes, total, told), unit * sizes[group]
    low, high = telling.range_of(str(group))
    every = range(int(low / width + 0.5), int(high / width + 0.5) + 1)
    cells = [cell(group, k, width) for k in (every if multiple is None else [multiple])]
    return all(telling.leaves_open(one) for one in cells if telling.could_be(one))


def told_roundly(series: tuple[int, int, int], sizes: tuple[int, int], total: int, *, by_all: bool) -> Shares:
    """The shares told of a series, by what each multiple would tell or by its own alone."""
    told: Shares = ()
    for unit, group in product(UNITS, (0, 1)):
        multiple = int(series[group] / (unit * sizes[group]) + 0.5)
        asked = [None, multiple] if by_all else [multiple]
        if group not in {one for one, _, _ in told} and all(
            may_be_told(sizes, total, told, group, unit, each) for each in asked
        ):
            told = (*told, (group, unit, multiple))
    return told


def narrowed(*, by_all: bool) -> list[set[int]]:
    """What a reader who knows the rule is left with for the few, where that is less than one to four."""
    left = []
    for sizes, total in TABLES:
        found: dict[tuple, set[int]] = {}
        for series in groups_of(sizes, total):
            found.setdefault(told_roundly(series, sizes, total, by_all=by_all), set()).add(series[2])
        left += list(found.values())
    return [few for few in left if not {min(FEW), max(FEW)} <= few]


def test_who_knows_the_rule_learns_nothing_from_how_a_share_is_told_or_that_it_is_not():
    assert narrowed(by_all=True) == []


def test_a_rule_that_looks_at_the_share_itself_alone_gives_some_away():
    """Else the other would prove nothing."""
    assert any(len(few) == 1 for few in narrowed(by_all=False))
