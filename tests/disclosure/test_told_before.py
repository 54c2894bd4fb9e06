"""What was told before of several counts together binds the protection and the attack alike."""

from __future__ import annotations

import math

import numpy as np
import pytest

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.counts import Count
from liftseries.disclosure.structure import Together, structure_of, with_told
from liftseries.disclosure.suppression import protect

PATIENTS, K = np.arange(40), 5
COUNTS = [
    Count("all", PATIENTS >= 0, table="t"),
    Count("many", PATIENTS < 37, table="t"),
    Count("few", PATIENTS >= 37, table="t"),
]
NEEDED = {"few": (1.0, 4.0)}


def told(low: float, high: float) -> list[Together]:
    """Between what of all are many."""
    return [Together({"many": 1.0, "all": -low}, 0.0, math.inf), Together({"many": -1.0, "all": high}, 0.0, math.inf)]


@pytest.mark.parametrize(("before", "withheld"), [([], {"few", "many"}), (told(0.85, 0.98), {"few", "many"})])
def test_few_are_hidden_by_one_count_where_nothing_that_was_told_forbids_it(before, withheld):
    protection = protect(COUNTS, PATIENTS, K, told=before, weights={"all": 10.0, "many": 1.0})
    assert protection.withheld == withheld
    assert protection.intervals["protected"].all()


def test_few_cannot_be_hidden_once_their_share_was_told_closely():
    """36.4 to 38 of 40: 2 or 3 are left, whatever is withheld of the many; all must go too, for which it is a share."""
    protection = protect(COUNTS, PATIENTS, K, told=told(0.91, 0.95), weights={"all": 10.0, "many": 1.0})
    assert protection.withheld == {"few", "many", "all"}
    known = {"all": 40, "many": None, "few": (0, 4)}
    for before, recovered in (([], [False]), (told(0.91, 0.95), [True])):
        assert told_apart(COUNTS, PATIENTS, known, NEEDED, before)["recovered"].tolist() == recovered


@pytest.mark.parametrize(("before", "may_be"), [([], True), (told(0.80, 0.93), False)])
def test_what_is_told_now_is_added_to_it(before, may_be):
    """Known from before: 37.2 at most, so 3 or more; 37 are then no other number, and 38 or more cannot be."""
    telling = Telling(COUNTS, PATIENTS, {"all": 40, "few": (0, 4)}, {"few": (3.0, 4.0)}, before)
    assert telling.range_of("many") == (36, 37.2 if before else 40)
    assert telling.leaves_open([Together({"many": 1.0}, 37.0, 37.0)]) is False
    assert telling.could_be([Together({"many": 1.0}, 38.0, 40.0)]) is may_be


def test_nothing_told_leaves_the_structure_as_it_is():
    structure = structure_of(COUNTS, PATIENTS)
    assert with_told(structure, []) is structure
    more = with_told(structure, told(0.9, 0.95))
    assert more.inequalities.shape[0] == structure.inequalities.shape[0] + 2 == len(more.at_least)
