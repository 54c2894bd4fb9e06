"""What earlier releases alone leave of a count is all that the next one is asked to leave."""

from __future__ import annotations

import math

import numpy as np
import pytest

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.counts import Count, set_of
from liftseries.disclosure.earlier import left_by_earlier
from liftseries.disclosure.needs import need_of, needs_of
from liftseries.disclosure.structure import Together
from liftseries.disclosure.suppression import protect

PATIENTS, K = np.arange(40), 5
ONE = Count("one", PATIENTS < 1, table="t")
OF_THREE = Count("of three", PATIENTS < 3, fixed=True, table="release")
OF_TWO = Count("of two", (PATIENTS >= 1) & (PATIENTS < 3), fixed=True, table="release")
ALL = Count("all", PATIENTS >= 0, table="t")


def left(counts, earlier, told=()):
    return left_by_earlier(counts, PATIENTS, K, earlier, told)


@pytest.mark.parametrize(
    ("value", "left_of_it", "need"),
    [
        (1, (0.0, math.inf), (1.0, 4.0)),
        (4, (0.0, math.inf), (1.0, 4.0)),
        (7, (0.0, math.inf), (1.0, 8.0)),  # sites of fewer patients
        (2, (2.0, 3.0), (2.0, 3.0)),
        (2, (0.0, 9.0), (1.0, 4.0)),
    ],
)
def test_what_a_count_must_be_able_to_be(value, left_of_it, need):
    assert need_of(value, K, left_of_it) == need


def test_one_among_three_that_were_told_can_be_three_at_most_and_is_protected_if_it_can():
    counts = [ALL, ONE, OF_THREE]
    assert not protect(counts, PATIENTS, K).intervals["protected"].all()
    narrowed = left(counts, [OF_THREE])
    assert narrowed == {set_of(ONE): (0.0, 3.0)}
    assert needs_of(counts, PATIENTS, K, narrowed) == {"one": (1.0, 3.0)}
    protection = protect(counts, PATIENTS, K, left=narrowed)
    assert protection.intervals["protected"].all()
    assert "one" in protection.withheld


@pytest.mark.parametrize(("told", "recovered"), [((0, 4), False), ((0, 2), True), ((2, 4), True)])
def test_the_attack_finds_what_narrows_it_further(told, recovered):
    counts = [ALL, ONE, OF_THREE]
    needs = needs_of(counts, PATIENTS, K, left(counts, [OF_THREE]))
    apart = told_apart(counts, PATIENTS, {"all": 40, "of three": 3, "one": told}, needs)
    assert apart["recovered"].tolist() == [recovered]


def test_what_earlier_releases_give_away_is_out_and_need_be_nothing_else():
    """Three less two."""
    counts = [ALL, Count("one", PATIENTS < 1, table="release"), OF_THREE, OF_TWO]
    assert left(counts, [OF_THREE, OF_TWO]) == {set_of(ONE): (1.0, 1.0)}
    assert not protect(counts, PATIENTS, K).intervals["protected"].all()
    assert protect(counts, PATIENTS, K, left=left(counts, [OF_THREE, OF_TWO])).intervals["protected"].all()


def test_what_they_told_roundly_narrows_it_too():
    """36.4 to 38 of 40 leave 2 or 3."""
    all_of_them = Count("all", PATIENTS >= 0, fixed=True, table="t")
    counts = [all_of_them, Count("many", PATIENTS < 37, table="t"), Count("few", PATIENTS >= 37, table="t")]
    told = [Together({"many": 1.0}, 36.4, 38.0)]
    narrowed = left(counts, [all_of_them], told)
    assert narrowed == {set_of(counts[2]): (2.0, 3.0)}
    assert protect(counts, PATIENTS, K, told=told, left=narrowed).intervals["protected"].all()
    assert not protect(counts, PATIENTS, K, told=told).intervals["protected"].all()


def test_what_only_whole_numbers_cannot_reach_is_not_asked_for():
    """Twice one and three times the other are 12, and there are five of one at most: 0 or 3, but 4.5 in fractions."""
    one, other = Count("one", PATIENTS < 3, table="t"), Count("other", (PATIENTS >= 5) & (PATIENTS < 7), table="t")
    five = Count("five", PATIENTS < 5, fixed=True, table="release")
    counts, told = [ALL, one, other, five], [Together({"one": 2.0, "other": 3.0}, 12.0, 12.0)]
    narrowed = left(counts, [five], told)
    assert narrowed[set_of(one)] == (0.0, 3.0)
    assert protect(counts, PATIENTS, K, told=told, left=narrowed).intervals["protected"].all()


def test_where_they_leave_enough_nothing_is_narrowed():
    wide = Count("of six", PATIENTS < 6, fixed=True, table="release")
    assert left([ALL, ONE, wide], [wide]) == {}
    assert left([ALL, ONE], []) == {}


def test_what_this_release_knows_by_its_rows_is_none_of_theirs():
    """A fixed count that no earlier release told."""
    assert left([ALL, ONE, OF_THREE], []) == {}
