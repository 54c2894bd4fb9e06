"""What a reader knows of a ledger without any value: small ledgers whose relations are written out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from liftseries.disclosure.counts import Count
from liftseries.disclosure.structure import closed, structure_of

SIX = np.arange(6)  # patients of one site each


def of_sites(*sites: int, n: int = 6) -> np.ndarray:
    return np.isin(np.arange(n), sites)


def ledger(tables: dict[str, dict[str, np.ndarray]], unit: str = "sites") -> list[Count]:
    return [Count(name, members, unit, table=table) for table, sets in tables.items() for name, members in sets.items()]


def said(matrix, structure) -> set[str]:
    """Each row of a matrix as `-1 a +1 c`, the numbers by their first name and in their order."""
    names = [number.counts[0].name for number in structure.numbers]
    return {" ".join(f"{row[i]:+.4g} {names[i]}" for i in np.flatnonzero(row)) for row in matrix.toarray()}


def known(counts: list[Count], patients: np.ndarray = SIX) -> tuple[set[str], set[str]]:
    """What comes to nought, whatever its sign, and what is not negative."""
    structure = structure_of(counts, patients)
    values = np.array([number.counts[0].members.sum() for number in structure.numbers])
    if all(count.unit == "sites" for count in counts):
        assert structure.equations @ values == pytest.approx(0)
        assert (structure.inequalities @ values >= -1e-9).all()
    equations, inequalities = structure.equations.toarray(), structure.inequalities
    assert len(equations) == len(np.unique(equations, axis=0))
    first = [row[np.flatnonzero(row)[0]] for row in equations]
    equations = equations / np.array(first).reshape(-1, 1) if len(first) else equations
    return said(type(inequalities)(equations.reshape(-1, len(structure.numbers))), structure), said(
        inequalities, structure
    )


def test_an_empty_ledger_has_no_number():
    structure = structure_of([], SIX)
    assert structure.numbers == ()
    assert structure.equations.shape == structure.inequalities.shape == (0, 0)


def test_two_parts_make_a_whole_and_each_is_at_most_the_whole():
    table = {"a": of_sites(0, 1), "b": of_sites(2, 3, 4), "c": of_sites(0, 1, 2, 3, 4)}
    assert known(ledger({"t": table})) == ({"+1 a +1 b -1 c"}, {"-1 a +1 c", "-1 b +1 c"})


@pytest.mark.parametrize("unit", ["sites", "patients"])
def test_parts_and_sums_of_two_are_known_between_tables(unit):
    """Three parts of a whole are known within a table alone."""
    halves = {"x": {"a": of_sites(0, 1)}, "y": {"b": of_sites(2, 3, 4)}, "z": {"c": of_sites(0, 1, 2, 3, 4)}}
    assert known(ledger(halves, unit)) == ({"+1 a +1 b -1 c"}, {"-1 a +1 c", "-1 b +1 c"})
    thirds = {"a": of_sites(0), "b": of_sites(1, 2), "c": of_sites(3, 4, 5)}
    whole = {"d": of_sites(*range(6))}
    parts = {"-1 a +1 d", "-1 b +1 d", "-1 c +1 d"}
    assert known(ledger({"x": thirds, "y": whole}, unit)) == (set(), parts)
    equations, inequalities = known(ledger({"x": thirds | whole}, unit))
    assert equations == {"+1 a +1 b +1 c -1 d"}
    pairs = {"-1 a -1 b +1 d", "-1 a -1 c +1 d", "-1 b -1 c +1 d"}
    assert inequalities == parts | pairs


def test_a_part_is_held_to_the_next_larger_whole_alone():
    nested = {"a": of_sites(0), "b": of_sites(0, 1), "c": of_sites(0, 1, 2)}
    assert known(ledger({"t": nested})) == (set(), {"-1 a +1 b", "-1 b +1 c"})


def test_equations_of_a_table_may_count_a_number_twice():
    """Each of three sites is in two of three pairs."""
    pairs = {"ab": of_sites(0, 1), "ac": of_sites(0, 2), "bc": of_sites(1, 2), "abc": of_sites(0, 1, 2)}
    equations, inequalities = known(ledger({"t": pairs}))
    assert equations == {"+1 ab +1 ac +1 bc -2 abc"}
    assert inequalities == {"-1 ab +1 abc", "-1 ac +1 abc", "-1 bc +1 abc"}
    with_one = known(ledger({"t": pairs | {"a": of_sites(0)}}))[0]
    assert with_one == {"+1 ab +1 ac -1 bc -2 a", "+1 ab +1 ac -1 abc -1 a", "+1 bc -1 abc +1 a"}


def test_two_sets_in_a_third_leave_what_they_have_in_common():
    """A + B ≤ C + both, where both is a number too; without it nothing is known of the two together."""
    two = {"C": of_sites(0, 1, 2, 3, 4), "A": of_sites(0, 1, 2), "B": of_sites(2, 3)}
    parts = {"+1 C -1 A", "+1 C -1 B"}
    assert known(ledger({"t": two})) == (set(), parts)
    with_common = two | {"both": of_sites(2)}
    parts |= {"+1 A -1 both", "+1 B -1 both"}
    assert known(ledger({"t": with_common})) == (set(), parts | {"+1 C -1 A -1 B +1 both"})


def test_of_two_sets_that_no_third_holds_nothing_is_known_together():
    """C holds A alone; A and B have a site in common that is a number, too."""
    sets = {"both": of_sites(2), "A": of_sites(0, 1, 2), "B": of_sites(2, 5), "C": of_sites(0, 1, 2, 3)}
    assert known(ledger({"t": sets})) == (set(), {"-1 A +1 C", "-1 both +1 A", "-1 both +1 B"})


def test_two_sets_apart_are_together_at_most_the_smallest_that_holds_both():
    """And of a part of one of them it is not said again."""
    sets = {"a": of_sites(0), "A": of_sites(0, 1), "B": of_sites(2, 3), "C": of_sites(0, 1, 2, 3, 4)}
    inequalities = known(ledger({"t": sets | {"D": of_sites(*range(6))}}))[1]
    assert inequalities == {"-1 a +1 A", "-1 A +1 C", "-1 B +1 C", "-1 C +1 D", "-1 A -1 B +1 C"}
    alone = known(ledger({"t": {"A": of_sites(0, 1), "B": of_sites(2, 3)}}))
    assert alone == (set(), set())


def test_a_part_s_own_whole_says_more_than_the_larger_one():
    """a and b lie in c, which lies in d with e: a + b ≤ c, a + e ≤ d follows from c + e ≤ d."""
    sets = {"a": of_sites(0), "b": of_sites(1), "c": of_sites(0, 1, 2), "e": of_sites(3), "d": of_sites(*range(5))}
    inequalities = known(ledger({"t": sets}))[1]
    sums = {one for one in inequalities if one.count("-1") == 2}
    assert sums == {"-1 a -1 b +1 c", "-1 c -1 e +1 d"}


def test_nobody_is_nought_wherever_it_stands():
    counts = ledger({"t": {"none": of_sites(), "a": of_sites(0, 1)}})
    assert known(counts) == ({"+1 none"}, set())


def test_counts_of_the_same_sites_are_one_number_and_of_patients_all_their_sites():
    patients = np.array([7, 7, 3, 3, 3, 5])
    counts = [
        Count("a", of_sites(0, 2)),
        Count("of patients", of_sites(0, 2), "patients"),
        Count("the same patients", of_sites(1, 4), "patients", published=False),
        Count("a again", of_sites(0, 2), fixed=True),
    ]
    structure = structure_of(counts, patients)
    assert structure.number_of == {"a": 0, "of patients": 1, "the same patients": 1, "a again": 0}
    assert [number.members.tolist() for number in structure.numbers] == [
        of_sites(0, 2).tolist(),
        of_sites(0, 1, 2, 3, 4).tolist(),
    ]
    assert [(number.published, number.fixed, number.unit) for number in structure.numbers] == [
        (True, True, "sites"),
        (True, False, "patients"),
    ]
    assert known(counts, patients)[1] == {"+1 a -1 of patients", "-1 a +3 of patients"}


def test_sites_are_bound_to_their_own_patients_alone():
    patients = np.array([0, 0, 1, 1, 2, 2])
    counts = [Count("a", of_sites(0)), Count("others", of_sites(2, 4), "patients")]
    assert known(counts, patients) == (set(), set())


def test_all_sites_of_the_patients_of_some():
    patients = np.array([0, 1, 0, 2, 1, 2])
    assert closed(of_sites(0, 4), patients).tolist() == [True, True, True, False, True, False]
    assert closed(np.zeros(0, bool), np.zeros(0, int)).tolist() == []


def test_sums_of_two_are_found_among_many():
    """Of a hundred sets that are apart, and the sums of neighbours: each sum once, and no other."""
    parts = {f"{k}": of_sites(k, n=100) for k in range(100)}
    sums = {f"{k} and {k + 1}": of_sites(k, k + 1, n=100) for k in range(0, 100, 2)}
    tables = {name: {name: members} for name, members in (parts | sums).items()}
    equations = known(ledger(tables), np.arange(100))[0]
    assert equations == {f"+1 {k} +1 {k + 1} -1 {k} and {k + 1}" for k in range(0, 100, 2)}
