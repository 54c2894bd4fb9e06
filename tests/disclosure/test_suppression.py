"""Suppression: a printed table, random ledgers against the attack, and what is known from elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from disclosure.ledgers import cells, every_table, ledgers, printed, two_way
from hypothesis import example, given, settings
from hypothesis import strategies as st

from liftseries.disclosure.attack import attack
from liftseries.disclosure.counts import Count, n_patients_behind
from liftseries.disclosure.suppression import protect

# Statistical Policy Working Paper 22, chapter 2: delinquent children by county and education of the household head,
# cells below 5 sensitive. From memory, as in test_attack.
DELINQUENT = [[15, 1, 3, 1], [20, 10, 10, 15], [3, 10, 10, 2], [12, 14, 7, 2]]
SENSITIVE = {"table 0,1", "table 0,2", "table 0,3", "table 2,0", "table 2,3", "table 3,3"}
SMALLEST_CELL = 5


def narrowed_by_presolve():
    """Eleven patients of whom HiGHS's presolve makes 1 the most that `a 1,2` can be, where a series has 3 there."""
    patients = np.repeat(np.arange(11), [3, 2, 2, 2, 1, 3, 2, 1, 1, 2, 2])
    row = np.arange(21) < 20
    column = np.array([1, 0, *[1] * 10, 0, 0, 0, 1, 2, 1, 0, 0, 0])
    other = np.array([1, 1, 1, 1, 1, 2, *[1] * 7, 2, 2, 1, 1, 2, 2, 1, 2])
    rows = row.astype(int)
    tables = two_way("a", rows, column), two_way("b", rows, other), two_way("a of patients", rows, column, "patients")
    return [count for table in tables for count in table], patients


NARROWED_BY_PRESOLVE = narrowed_by_presolve()


def attacked(counts, patients, withheld, *, integers=False):
    """What a reader works out: lower and upper, by name."""
    found = attack(counts, patients, printed(counts, patients, withheld), integers=integers)
    return found.set_index("name")


def assert_every_sensitive_count_is_open(counts, patients, protection, *, integers=False, smallest_cell=SMALLEST_CELL):
    """Nobody can tell a sensitive count from 1, nor from the smallest cell less one, knowing which are few."""
    shown = printed(counts, patients, protection.withheld)
    rows = protection.intervals.itertuples()
    shown |= {row.name: (0, int(row.needed_upper)) for row in rows if row.name in protection.told_as_few}
    shown |= dict.fromkeys(protection.told_as_many, (smallest_cell, math.inf))
    bounds = attack(counts, patients, shown, list(protection.intervals["name"]), integers=integers).set_index("name")
    for row in protection.intervals.itertuples():
        assert bounds.lower[row.name] <= row.needed_lower + 1e-6, row
        assert bounds.upper[row.name] >= row.needed_upper - 1e-6, row


# ── a printed table ─────────────────────────────────────────────────────────────────────────────


def test_withholding_the_small_cells_alone_hides_none_of_them():
    counts, patients = cells(DELINQUENT), np.arange(135)
    bounds = attacked(counts, patients, SENSITIVE)
    assert (bounds.upper - bounds.lower).to_numpy() == pytest.approx(np.zeros(6), abs=1e-6)
    assert bounds.upper.max() < SMALLEST_CELL


@pytest.mark.parametrize("integers", [False, True])
def test_every_small_cell_of_the_printed_table_is_left_open(integers):
    counts, patients = cells(DELINQUENT), np.arange(135)
    protection = protect(counts, patients, SMALLEST_CELL)
    assert protection.suppressed == SENSITIVE
    assert protection.intervals["protected"].all()
    assert_every_sensitive_count_is_open(counts, patients, protection, integers=integers)


def test_no_more_cells_of_the_printed_table_are_withheld_than_by_its_authors():
    """Three more cells hide the six, and no margin goes."""
    protection = protect(cells(DELINQUENT), np.arange(135), SMALLEST_CELL)
    assert len(protection.complementary) <= 3
    assert not any("all" in name for name in protection.withheld)


def test_every_withheld_count_is_needed():
    counts, patients = cells(DELINQUENT), np.arange(135)
    protection = protect(counts, patients, SMALLEST_CELL)
    needed = protection.intervals.set_index("name")
    for name in sorted(protection.complementary):
        bounds = attacked(counts, patients, protection.withheld - {name}).loc[needed.index]
        assert ((bounds.lower > needed.needed_lower + 1e-6) | (bounds.upper < needed.needed_upper - 1e-6)).any(), name


def test_an_attack_in_whole_numbers_finds_every_series_that_agrees():
    """No bound is narrower than a series that protection found, whose numbers agree with all that is printed."""
    counts, patients = NARROWED_BY_PRESOLVE
    protection = protect(counts, patients, 3)
    bounds = attacked(counts, patients, protection.withheld, integers=True)
    found = protection.intervals.set_index("name")
    low, high = found.loc["a 1,2", ["lower", "upper"]]
    assert low <= 1
    assert high >= 2  # the smallest cell less one: that it is few is told, how many is not
    assert (bounds.loc[found.index, "lower"] <= found["lower"] + 1e-6).all()
    assert (bounds.loc[found.index, "upper"] >= found["upper"] - 1e-6).all()


# ── any ledger ──────────────────────────────────────────────────────────────────────────────────


@settings(max_examples=30, deadline=None)
@given(ledger=ledgers(), smallest_cell=st.integers(2, 5))
def test_no_sensitive_count_of_a_random_ledger_can_be_worked_out(ledger, smallest_cell):
    counts, patients = ledger
    protection = protect(counts, patients, smallest_cell)
    assert protection.intervals["protected"].all()
    assert_every_sensitive_count_is_open(counts, patients, protection, smallest_cell=smallest_cell)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(ledger=ledgers(most_patients=12), smallest_cell=st.integers(2, 5))
@example(ledger=NARROWED_BY_PRESOLVE, smallest_cell=3)
def test_nor_in_whole_sites_and_patients(ledger, smallest_cell):
    counts, patients = ledger
    protection = protect(counts, patients, smallest_cell)
    assert_every_sensitive_count_is_open(counts, patients, protection, integers=True, smallest_cell=smallest_cell)


@settings(max_examples=20, deadline=None)
@given(n=st.lists(st.integers(1, 2), min_size=6, max_size=6), smallest_cell=st.integers(2, 3))
def test_among_all_tables_that_agree_a_small_cell_has_both_values(n, smallest_cell):
    """Counted out, without the attack; the total is known, so that the tables to count out come to an end."""
    table, total = np.reshape(n, (2, 3)), sum(n)
    counts = [replace(count, fixed=count.name == "table all,all") for count in cells(table)]
    protection = protect(counts, np.arange(total), smallest_cell)
    shown = printed(counts, np.arange(total), protection.withheld)
    agreeing = [values for values in every_table(total) if all(values[k] == v for k, v in shown.items())]
    assert protection.intervals["protected"].all()
    for row in protection.intervals.itertuples():
        assert min(values[row.name] for values in agreeing) <= 1
        assert max(values[row.name] for values in agreeing) >= row.needed_upper >= smallest_cell - 1


@settings(max_examples=20, deadline=None)
@given(ledger=ledgers(), smallest_cell=st.integers(2, 5))
def test_what_is_withheld_and_why(ledger, smallest_cell):
    counts, patients = ledger
    protection = protect(counts, patients, smallest_cell)
    behind = {count.name: n_patients_behind(count, patients) for count in counts}
    small = {name for name, n in behind.items() if 1 <= n < smallest_cell}
    shown = {count.name for count in counts if count.published}
    assert protection.suppressed == small & shown
    assert set(protection.intervals["name"]) == small
    assert protection.complementary <= shown - small
    if not small:
        assert not protection.withheld


@settings(max_examples=15, deadline=None)
@given(ledger=ledgers(), smallest_cell=st.integers(2, 5))
def test_the_same_ledger_gives_the_same_answer(ledger, smallest_cell):
    counts, patients = ledger
    first, again = (protect(counts, patients, smallest_cell) for _ in range(2))
    assert (first.suppressed, first.complementary) == (again.suppressed, again.complementary)
    assert first.intervals.equals(again.intervals)


@settings(max_examples=15, deadline=None)
@given(ledger=ledgers(), smallest_cell=st.integers(2, 5), seed=st.integers(0, 99))
def test_how_patients_are_numbered_makes_no_difference(ledger, smallest_cell, seed):
    counts, patients = ledger
    other = np.random.default_rng(seed).permutation(1000)[patients]
    one, two = protect(counts, patients, smallest_cell), protect(counts, other, smallest_cell)
    assert one.withheld == two.withheld


def test_a_table_in_which_telling_the_few_would_tell_them_all_does_not_tell_them():
    """Six ones, six in all: three pairs of at most two patients each would be two each. Its neighbour does tell."""
    ones = [replace(count, fixed=count.name == "table all,all") for count in cells([[1, 1, 1], [1, 1, 1]])]
    protection = protect(ones, np.arange(6), 3)
    assert protection.intervals["protected"].all()
    assert protection.told_as_few == frozenset()
    assert protect(cells(DELINQUENT), np.arange(135), SMALLEST_CELL).told_as_few == SENSITIVE


# ── what is small, and what is known ────────────────────────────────────────────────────────────


def test_what_would_be_told_as_few_is_known_to_be_no_less():
    """Of 3, 5 and 40 the 5 is the cheapest to hide the 3; but where 4 were 3, the 5 would be 4, and told as few."""
    counts = [replace(count, table="t") for count in cells([[3, 5, 40]])]
    cheapest = {"table 0,1", "table all,1"}
    protection = protect(counts, np.arange(48), SMALLEST_CELL, weights=dict.fromkeys(cheapest, 0.1))
    assert not protection.complementary <= cheapest
    assert protection.told_as_many == protection.complementary
    assert protection.intervals["protected"].all()
    assert_every_sensitive_count_is_open(counts, np.arange(48), protection)


def test_patients_are_counted_and_not_sites():
    """Eight sites of two patients are few; so is the count of their sites."""
    patients = np.repeat(np.arange(12), [4, 4, *[1] * 10])
    counts = two_way("t", (patients < 2).astype(int), np.arange(18) % 2)
    protection = protect(counts, patients, 3)
    row = protection.intervals.set_index("name").loc["t 1,all"]
    assert (row["value"], row["patients"], row["needed_upper"]) == (8, 2, 9)
    assert "t 1,all" in protection.suppressed
    assert_every_sensitive_count_is_open(counts, patients, protection, smallest_cell=3)


def test_nobody_and_everybody_may_be_printed():
    counts = [
        Count("treated", np.ones(20, bool)),
        Count("failed", np.zeros(20, bool)),
        Count("did well", np.ones(20, bool)),
    ]
    assert protect(counts, np.arange(20), 5).withheld == frozenset()


def test_a_complement_that_is_printed_nowhere_is_hidden():
    """18 of 20 followed: the two others follow by taking away, so one of the two numbers goes."""
    followed = np.arange(20) < 18
    counts = [Count("all", np.ones(20, bool)), Count("followed", followed), Count("lost", ~followed, published=False)]
    protection = protect(counts, np.arange(20), 5)
    assert protection.suppressed == frozenset()
    assert len(protection.complementary) == 1
    assert_every_sensitive_count_is_open(counts, np.arange(20), protection)


def test_a_difference_of_two_times_in_different_tables_is_hidden():
    """30 failed by month 12 and 31 by month 24; the one between is listed and stands nowhere."""
    month = np.repeat([6, 18, 60], [30, 1, 60])
    counts = [
        Count("failed by 12", month <= 12, table="a"),
        Count("failed by 24", month <= 24, table="b"),
        Count("failed between", month == 18, table="b", published=False),
    ]
    patients = np.arange(91)
    assert attacked(counts, patients, []).loc["failed between"].tolist() == [1, 1]
    protection = protect(counts, patients, 5)
    assert len(protection.complementary) == 1
    assert_every_sensitive_count_is_open(counts, patients, protection)


def test_the_cheaper_count_is_withheld():
    followed = np.arange(20) < 18
    counts = [Count("all", np.ones(20, bool)), Count("followed", followed), Count("lost", ~followed, published=False)]
    for dear, cheap in (("all", "followed"), ("followed", "all")):
        protection = protect(counts, np.arange(20), 5, weights={dear: 10.0, cheap: 1.0})
        assert protection.withheld == {cheap}


def test_the_dearer_of_two_that_hide_the_same_is_published_again():
    """Besides the two ones and what they add up to, 3 or 5 has to go."""
    counts, patients, either = cells([[1, 5], [1, 3], [0, 8]]), np.arange(18), {"table 0,1", "table 1,1"}
    assert protect(counts, patients, 3).withheld & either == {"table 1,1"}
    assert protect(counts, patients, 3, weights={"table 0,1": 1.0}).withheld & either == {"table 0,1"}


def test_of_an_empty_ledger_nothing_is_withheld():
    protection = protect([], np.arange(3), 5)
    assert protection.withheld == frozenset()
    assert protection.intervals.empty


def test_what_is_known_from_elsewhere_is_never_withheld():
    counts = [replace(count, fixed=count.name == "table all,all") for count in cells([[2, 30], [30, 30]])]
    protection = protect(counts, np.arange(92), 5)
    assert "table all,all" not in protection.withheld
    assert protection.intervals["protected"].all()
    assert_every_sensitive_count_is_open(counts, np.arange(92), protection)


def test_what_cannot_be_hidden_is_told():
    """Both numbers that a small one follows from are known from elsewhere: it is withheld and yet plain."""
    followed = np.arange(20) < 18
    counts = [
        Count("all", np.ones(20, bool), fixed=True),
        Count("followed", followed, fixed=True),
        Count("lost", ~followed),
    ]
    protection = protect(counts, np.arange(20), 5)
    assert protection.withheld == {"lost"}
    row = protection.intervals.iloc[0]
    assert (row["name"], row["lower"], row["upper"], row["protected"]) == ("lost", 2, 2, False)


def test_a_ledger_that_contradicts_itself_is_refused_with_all_its_faults():
    counts = [Count("a", np.ones(3, bool)), Count("a", np.ones(3, bool)), Count("b", np.ones(2, bool), "teeth")]
    with pytest.raises(ValueError, match=r"a: the name stands twice; b: members .* 3 sites; b: a unit"):
        protect(counts, np.arange(3), 5)
