"""What may be told roundly beside counts, so that still no small one can be told."""

from __future__ import annotations

import math

import numpy as np
import pytest

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
