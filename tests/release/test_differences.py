"""Groups of few patients that nobody prints and anybody can work out from counts that are printed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liftseries.disclosure.attack import told_apart
from liftseries.disclosure.counts import Count, n_patients_behind, value_of
from liftseries.disclosure.suppression import protect
from liftseries.release.differences import small_differences

N, SMALLEST_CELL = 60, 5
PATIENTS = np.arange(N)


def of_levels(part: np.ndarray, **levels: tuple[str, ...]) -> list[Count]:
    """Counts of one table, each of some levels."""
    return [Count(name, np.isin(part, among), table="t") for name, among in levels.items()]


def left_of(counts: list[Count]) -> list[Count]:
    """The different groups left."""
    found = [one for one in small_differences(counts, PATIENTS, SMALLEST_CELL) if not one.published]
    return list({one.members.tobytes(): one for one in found}.values())


def drilled() -> list[Count]:
    """47 perforations, 30 where drilling went as planned and 13 where it did not: four without a log."""
    part = np.repeat(["planned", "deviating", "no log", "none"], [30, 13, 4, N - 47])
    return of_levels(part, all=("planned", "deviating", "no log"), planned=("planned",), deviating=("deviating",))


def test_what_two_parts_leave_of_a_total_is_a_target():
    (found,) = left_of(drilled())
    assert int(found.members.sum()) == 4
    assert left_of(drilled()[:2]) == []


def test_what_three_parts_of_one_table_leave_of_a_total_is_a_target():
    part = np.repeat(["a", "b", "c", "left"], [20, 20, 17, 3])
    counts = of_levels(part, all=("a", "b", "c", "left"), a=("a",), b=("b",), c=("c",))
    (found,) = left_of(counts)
    assert (found.members == (part == "left")).all()
    assert left_of(counts[:3]) == []


@pytest.mark.parametrize("n_groups", [2, 3])
def test_patients_who_stand_in_two_groups_are_a_target(n_groups):
    """16 + 8 + 10 of 33: one patient has sites in two groups, and is counted in both."""
    groups = [np.arange(N) // (N // n_groups) == k for k in range(n_groups)]
    groups[1] = groups[1] | (PATIENTS == 0)
    sets = [PATIENTS >= 0, *groups]
    counts = [Count(f"{k} | t", members, "patients", table="t") for k, members in enumerate(sets)]
    (found,) = left_of(counts)
    assert np.flatnonzero(found.members).tolist() == [0]
    apart = [counts[0], replace(counts[1], members=counts[1].members & (PATIENTS > 0)), *counts[2:]]
    assert left_of(apart) == []


@pytest.mark.parametrize(("tables", "seen"), [("tttt", True), ("tttu", True), ("ttut", True), ("ttuv", False)])
def test_one_of_three_parts_may_stand_in_another_table(tables, seen):
    """Lifted by fluid, by packing and, under the protocol that alone does so, by osteotome: three by none of them."""
    sets = [PATIENTS >= 0, PATIENTS < 15, (PATIENTS >= 15) & (PATIENTS < 35), (PATIENTS >= 35) & (PATIENTS < N - 3)]
    counts = [
        Count(f"{k} | {table}", members, table=table)
        for k, (members, table) in enumerate(zip(sets, tables, strict=True))
    ]
    found = left_of(counts)
    assert [np.flatnonzero(one.members).tolist() for one in found] == ([[N - 3, N - 2, N - 1]] if seen else [])


def without_log(n_neither: int) -> list[Count]:
    """Sites, those with a log, those of known perforation, those of both, each in a table of its own."""
    has_log = PATIENTS < 40
    known = (PATIENTS >= 15) & (N - n_neither > PATIENTS)
    sets = {"series": PATIENTS >= 0, "depth": has_log, "perforation": known, "depth.perforation": has_log & known}
    return [Count(f"{name} | {name}", members, table=name) for name, members in sets.items()]


def test_those_in_neither_of_two_groups_that_overlap_are_a_target_where_the_overlap_is_printed():
    """Perforation unknown and without a log: of three patients, none of whom is in a table together with the others."""
    (found,) = left_of(without_log(3))
    assert np.flatnonzero(found.members).tolist() == [N - 3, N - 2, N - 1]
    assert left_of(without_log(3)[:3]) == []  # without the overlap nobody can tell
    assert left_of(without_log(6)) == []


def told(counts: list[Count], withheld: frozenset[str]) -> list[bool]:
    """Of each small count whether a reader can tell it from one, or from four."""
    few = [c for c in counts if 1 <= n_patients_behind(c, PATIENTS) < SMALLEST_CELL]
    values = {c.name: value_of(c, PATIENTS) for c in counts if c.published and c.name not in withheld}
    return told_apart(counts, PATIENTS, values, {c.name: (1.0, 4.0) for c in few})["recovered"].tolist()


@pytest.mark.parametrize("counts", [drilled(), without_log(3)], ids=["parts", "overlapping"])
def test_such_a_group_is_hidden_and_the_attack_finds_it_where_it_is_not(counts):
    every = counts + small_differences(counts, PATIENTS, SMALLEST_CELL)
    assert any(told(every, frozenset()))
    withheld = protect(every, PATIENTS, SMALLEST_CELL).withheld
    assert withheld
    assert not any(told(every, withheld))


def test_a_count_withheld_in_one_table_is_withheld_where_a_difference_names_it_again():
    counts = without_log(3)
    again = [one for one in small_differences(counts, PATIENTS, SMALLEST_CELL) if one.published]
    assert {one.name.rpartition(" | ")[0] for one in again} == {one.table for one in counts}
    every = [*counts, *small_differences(counts, PATIENTS, SMALLEST_CELL)]
    withheld = protect(every, PATIENTS, SMALLEST_CELL).withheld
    seen = {name: name.rpartition(" | ")[0] for name in (one.name for one in every if one.published)}
    assert withheld
    assert {name for name, base in seen.items() if base in {seen[one] for one in withheld}} == withheld
    unpublished = [replace(one, published=False) for one in counts]
    assert not [one for one in small_differences(unpublished, PATIENTS, SMALLEST_CELL) if one.published]
