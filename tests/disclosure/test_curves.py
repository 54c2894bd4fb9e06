"""Thinned curves: a course worked by hand, and no step or difference of steps that rests on few patients."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.disclosure.attack import attack
from liftseries.disclosure.counts import Count, value_of
from liftseries.disclosure.curves import round_times


def thinned(months, event, patients, smallest_cell, **of):
    return round_times("failed", np.array(months), np.array(event, bool), np.array(patients), smallest_cell, **of)


def test_a_step_waits_until_enough_patients_have_an_event():
    """Events at 1, 2, 2, 5, 7, 9: three patients by 2, three more by 9."""
    steps = thinned([1, 2, 2, 3, 5, 7, 9], [1, 1, 1, 0, 1, 1, 1], range(7), 3, table="curve")
    assert steps.months.tolist() == [2, 9]
    assert [count.name for count in steps.counts] == ["failed at 2", "failed at 9"]
    assert [value_of(count, np.arange(7)) for count in steps.counts] == [3, 6]
    assert {count.table for count in steps.counts} == {"curve"}


def test_what_is_left_over_goes_with_the_last_step():
    """Two events after the step at 2 are too few for a step, and too few to stay apart."""
    steps = thinned([1, 2, 2, 5, 7, 30], [1, 1, 1, 1, 1, 0], range(6), 3)
    assert steps.months.tolist() == [7]
    assert steps.counts[0].members.tolist() == [True] * 5 + [False]


def test_patients_count_and_not_their_sites():
    """Three sites of one patient at month 1 are one patient; the second comes at 4."""
    months, event = [1, 1, 1, 4, 9], [1, 1, 1, 1, 0]
    assert thinned(months, event, [0, 0, 0, 1, 2], 2).months.tolist() == [4]
    assert thinned(months, event, [0, 1, 2, 3, 4], 2).months.tolist() == [4]  # three, and the fourth with them
    assert thinned(months, event, [0, 0, 0, 0, 1], 2).months.tolist() == []


def test_fewer_patients_with_an_event_than_may_be_shown_leave_a_flat_curve():
    for event in ([1, 1, 0], [0, 0, 0]):
        steps = thinned([1, 2, 3], event, range(3), 3)
        assert (steps.months.size, steps.counts) == (0, ())


def test_a_site_without_a_time_is_not_in_the_curve():
    steps = thinned([1, np.nan, 2], [1, 1, 1], range(3), 2)
    assert steps.months.tolist() == [2]
    assert steps.counts[0].members.tolist() == [True, False, True]
    assert thinned([1, np.nan], [1, 1], range(2), 2).months.size == 0


@st.composite
def courses(draw):
    n = draw(st.integers(0, 40))
    lists = (
        st.lists(st.one_of(st.integers(0, 12).map(float), st.just(np.nan)), min_size=n, max_size=n),
        st.lists(st.booleans(), min_size=n, max_size=n),
        st.lists(st.integers(0, 15), min_size=n, max_size=n),
    )
    months, event, patients = (draw(one) for one in lists)
    return np.array(months, float), np.array(event, bool), np.array(patients, int), draw(st.integers(1, 5))


@settings(max_examples=100, deadline=None)
@given(courses())
def test_each_step_rests_on_enough_patients_and_says_what_the_whole_curve_says(course):
    months, event, patients, smallest_cell = course
    steps = round_times("failed", months, event, patients, smallest_cell)
    assert (np.diff(steps.months) > 0).all()
    before = np.zeros(len(months), bool)
    for month, count in zip(steps.months, steps.counts, strict=True):
        assert count.members.tolist() == [bool(e and m <= month) for m, e in zip(months, event, strict=True)]
        assert len(set(patients[count.members & ~before])) >= smallest_cell
        before = count.members
    left_over = event & ~np.isnan(months) & ~before
    if steps.months.size:
        assert not left_over.any()
    else:
        assert len(set(patients[left_over])) < smallest_cell


@settings(max_examples=100, deadline=None)
@given(courses())
def test_no_other_thinning_keeps_more_steps(course):
    """The longest chain of months with enough patients between each two, by dynamic programming."""
    months, event, patients, smallest_cell = course
    event = event & ~np.isnan(months)
    ends = [-np.inf, *np.unique(months[event])]
    longest = [0]
    for at in range(1, len(ends)):
        chains = [
            longest[start] + 1
            for start in range(at)
            if (start == 0 or longest[start])
            and len(set(patients[event & (months > ends[start]) & (months <= ends[at])])) >= smallest_cell
        ]
        longest.append(max(chains, default=0))
    steps = round_times("failed", months, event, patients, smallest_cell)
    assert len(steps.months) == max(longest)


def test_an_attack_on_the_thinned_curve_finds_no_step_of_few():
    """All printed: each difference of neighbouring steps is known, and it is of three patients or more."""
    months, event, patients = np.array([1.0, 2, 2, 3, 5, 7, 9]), np.array([1, 1, 1, 0, 1, 1, 1], bool), np.arange(7)
    counts = round_times("failed", months, event, patients, 3, table="curve").counts
    between = [
        Count(f"from {one.name}", later.members & ~one.members, published=False, table="curve")
        for one, later in pairwise(counts)
    ]
    found = attack([*counts, *between], patients, {count.name: value_of(count, patients) for count in counts})
    assert found["name"].tolist() == ["from failed at 2"]
    assert found.loc[0, ["lower", "upper"]].tolist() == pytest.approx([3, 3])
