"""The attack: recovers a printed table, agrees with counting out every series, claims no more than holds."""

from __future__ import annotations

import numpy as np
import pytest
from disclosure.ledgers import cells, every_table, ledgers, printed, two_way
from hypothesis import given, settings
from hypothesis import strategies as st

from liftseries.disclosure.attack import attack, told_apart
from liftseries.disclosure.counts import Count, n_patients_behind, value_of
from liftseries.disclosure.structure import structure_of

# Federal Committee on Statistical Methodology, Report on Statistical Disclosure Limitation Methodology (Statistical
# Policy Working Paper 22), chapter 2: delinquent children by county (Alpha, Beta, Gamma, Delta) and education of the
# household head (low, medium, high, very high); cells below 5 are sensitive. From memory.
DELINQUENT = [[15, 1, 3, 1], [20, 10, 10, 15], [3, 10, 10, 2], [12, 14, 7, 2]]
SENSITIVE = ["0,1", "0,2", "0,3", "2,0", "2,3", "3,3"]
# Its table that has two cells withheld in every row and column that has any, and yet gives one away:
# (row Alpha + row Beta) - (column medium + column high) leaves the cell of Alpha, very high.
GIVEN_AWAY = ["0,1", "0,2", "0,3", "1,1", "1,2", "2,0", "2,3", "3,0", "3,3"]
# Its table that is properly protected.
PROTECTED = ["0,1", "0,2", "0,3", "2,0", "2,1", "2,3", "3,0", "3,2", "3,3"]


def attacked(withheld, **how):
    counts = cells(DELINQUENT)
    patients = np.arange(135)
    found = attack(counts, patients, printed(counts, patients, [f"table {name}" for name in withheld]), **how)
    return {name.removeprefix("table "): (low, high) for name, low, high in found.itertuples(index=False)}


def cell(name):
    row, column = map(int, name.split(","))
    return DELINQUENT[row][column]


@pytest.mark.parametrize("integers", [False, True])
def test_every_cell_comes_out_where_only_the_small_ones_are_withheld(integers):
    found = attacked(SENSITIVE, integers=integers)
    assert found == {name: (pytest.approx(cell(name)), pytest.approx(cell(name))) for name in SENSITIVE}


def test_the_printed_table_that_gives_one_cell_away():
    found = attacked(GIVEN_AWAY)
    pinned = [name for name, (low, high) in found.items() if high - low < 1e-6]
    assert pinned == ["0,3"]
    assert found["0,3"] == (pytest.approx(1), pytest.approx(1))


def test_the_printed_table_that_is_protected():
    found = attacked(PROTECTED)
    assert all(high - low >= 1 for low, high in found.values())
    assert all(low <= cell(name) <= high for name, (low, high) in found.items())


@pytest.mark.parametrize("withheld", [SENSITIVE, GIVEN_AWAY, PROTECTED])
def test_a_cell_is_told_apart_where_its_bounds_leave_out_one_or_four(withheld):
    """What agrees with the printed table is kept and answers the next question; a wrong series answers nothing."""
    counts, patients = cells(DELINQUENT), np.arange(135)
    values = printed(counts, patients, [f"table {name}" for name in withheld])
    needed = {f"table {name}": (1.0, 4.0) for name in SENSITIVE}  # what was withheld beside them may be told apart
    bounds = attack(counts, patients, values, list(needed), integers=True)
    structure = structure_of(counts, patients)
    tried, n_tried = [np.zeros(len(structure.numbers))], set()
    for _ in range(2):
        found = told_apart(counts, patients, values, needed, tried=tried)
        assert found.columns.tolist() == ["name", "lower", "upper", "recovered"]
        assert found["name"].tolist() == list(needed)
        assert found["recovered"].tolist() == ((bounds["lower"] > 1) | (bounds["upper"] < 4)).tolist()
        assert (found["lower"] >= bounds["lower"]).all()
        assert (found["upper"] <= bounds["upper"]).all()
        n_tried.add(len(tried))
    assert found["recovered"].any() == (withheld != PROTECTED)
    assert len(tried) > 1
    assert found["recovered"].any() or len(n_tried) == 1  # where all is found, the second time nothing is looked for
    for known in (None, tried):
        soon = told_apart(counts, patients, values, needed, tried=known, stop=True)
        assert soon["recovered"].any() == found["recovered"].any()
    for series in tried[1:]:
        printed_in_it = {name: series[structure.number_of[name]] for name in values if isinstance(values[name], int)}
        assert printed_in_it == {name: values[name] for name in printed_in_it}


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_bounds_of_a_small_table_are_those_of_counting_out_every_table(data):
    n = np.array(data.draw(st.lists(st.integers(1, 2), min_size=6, max_size=6))).reshape(2, 3)
    counts = cells(n.tolist())
    patients = np.arange(n.sum())
    withheld = data.draw(st.sets(st.sampled_from([c.name for c in counts]), min_size=1))
    shown = printed(counts, patients, withheld)
    if "table all,all" not in shown:
        shown["table all,all"] = int(n.sum())  # otherwise nothing bounds the tables to count out
    agreeing = [values for values in every_table(int(n.sum())) if all(values[k] == v for k, v in shown.items())]
    expected = {name: [values[name] for values in agreeing] for name in withheld if name not in shown}
    for integers in (False, True):  # a two-way table: linear programming ends at whole numbers
        found = attack(counts, patients, shown, integers=integers).set_index("name")
        assert set(found.index) == set(expected)
        for name, values in expected.items():
            assert found.loc[name].tolist() == pytest.approx([min(values), max(values)], abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(ledger=ledgers(), data=st.data())
def test_what_is_taken_to_be_known_holds_in_every_series_of_such_patients(ledger, data):
    """Patients drawn again with replacement make another series in which all the same combinations may occur."""
    counts, patients = ledger
    structure = structure_of(counts, patients)
    n_patients = int(patients.max()) + 1
    often = np.array(data.draw(st.lists(st.integers(0, 3), min_size=n_patients, max_size=n_patients)))
    values = []
    for number in structure.numbers:
        if number.unit == "sites":
            values.append(often[patients[number.members]].sum())
        else:
            values.append(often[np.unique(patients[number.members])].sum())
    assert structure.equations @ values == pytest.approx(0, abs=1e-6)
    assert (structure.inequalities @ np.array(values, float) >= -1e-6).all()


@settings(max_examples=20, deadline=None)
@given(ledger=ledgers(most_patients=12), data=st.data())
def test_the_truth_is_never_excluded_and_whole_numbers_tell_no_less(ledger, data):
    counts, patients = ledger
    withheld = data.draw(st.sets(st.sampled_from([count.name for count in counts])))
    shown = printed(counts, patients, withheld)
    truth = {count.name: value_of(count, patients) for count in counts}
    relaxed = attack(counts, patients, shown).set_index("name")
    whole = attack(counts, patients, shown, integers=True).set_index("name")
    for name in relaxed.index:
        assert relaxed.lower[name] - 1e-6 <= whole.lower[name] <= truth[name] + 1e-6
        assert truth[name] - 1e-6 <= whole.upper[name] <= relaxed.upper[name] + 1e-6


def test_patients_bound_their_sites_and_back():
    """Four patients with at most three sites each; three of them have a site of the kind."""
    patients = np.array([0, 0, 0, 1, 1, 2, 3])
    kind = np.array([1, 1, 0, 1, 0, 1, 0], bool)
    sites, of_patients = Count("sites", kind), Count("patients", kind, "patients")
    assert [value_of(sites, patients), value_of(of_patients, patients)] == [4, 3]
    assert n_patients_behind(sites, patients) == 3
    assert bounds(attack([sites, of_patients], patients, {"patients": 3})) == [("sites", 3, 9)]
    assert bounds(attack([sites, of_patients], patients, {"sites": 4})) == [("patients", 4 / 3, 4)]
    assert bounds(attack([sites, of_patients], patients, {"sites": 4}, integers=True)) == [("patients", 2, 4)]


def bounds(found):
    return [(name, pytest.approx(low), pytest.approx(high)) for name, low, high in found.itertuples(index=False)]


def test_a_cell_is_bounded_by_its_margins():
    """Fréchet: of 10, 7 in the row and 6 in the column, 3 to 6 are in both; the true 4 leave one in neither."""
    row, column = np.arange(10) < 7, (np.arange(10) >= 3) & (np.arange(10) < 9)
    counts = [Count("row", row), Count("column", column), Count("both", row & column), Count("all", row | True)]
    assert bounds(attack(counts, np.arange(10), {"row": 7, "column": 6, "all": 10})) == [("both", 3, 6)]


def test_that_nobody_is_in_neither_is_taken_to_be_known():
    """An equation by chance: row + column - both = all, so 7 + 6 of 10 leave 3 in both and nothing else."""
    row, column = np.arange(10) < 7, np.arange(10) >= 4
    counts = [Count("row", row), Count("column", column), Count("both", row & column), Count("all", row | True)]
    assert bounds(attack(counts, np.arange(10), {"row": 7, "column": 6, "all": 10})) == [("both", 3, 3)]


def test_what_two_tables_say_together():
    """28 of 30 followed: two were not, though the two numbers stand in different tables."""
    followed = np.arange(30) < 28
    counts = [
        Count("in the series", np.ones(30, bool), table="flow"),
        Count("followed", followed, table="survival"),
        Count("lost", ~followed, table="flow", published=False),
    ]
    found = attack(counts, np.arange(30), {"in the series": 30, "followed": 28})
    assert bounds(found) == [("lost", 2, 2)]


def test_the_same_number_in_another_table_counts_as_printed():
    kind = np.arange(9) < 4
    counts = [Count("here", kind, table="a"), Count("there", kind, table="b")]
    assert bounds(attack(counts, np.arange(9), {"here": 4})) == [("there", 4, 4)]


def test_nothing_bounds_a_number_alone():
    assert bounds(attack([Count("alone", np.ones(3, bool))], np.arange(3), {})) == [("alone", 0, np.inf)]


def test_whole_numbers_that_nothing_bounds():
    """A table of which nothing is printed: each of its numbers is anything from nought."""
    counts = two_way("a", np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]))
    for integers in (False, True):
        found = attack(counts, np.arange(4), {}, integers=integers)
        assert found["lower"].tolist() == [0] * 9
        assert found["upper"].tolist() == [np.inf] * 9


def test_nobody_is_nought_whatever_is_printed():
    assert bounds(attack([Count("none", np.zeros(3, bool))], np.arange(3), {})) == [("none", 0, 0)]


@pytest.mark.parametrize(
    "values",
    [
        {"a 0,0": 9},  # more than the whole
        {"a 0,all": 5},  # rows do not add up
    ],
)
def test_values_that_no_series_has(values):
    counts = two_way("a", np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]))
    shown = printed(counts, np.arange(4), []) | values
    with pytest.raises(ValueError, match="no series"):
        attack(counts, np.arange(4), shown)


def test_two_values_of_one_number():
    kind = np.ones(3, bool)
    with pytest.raises(ValueError, match="b: another count of the same sites has another value"):
        attack([Count("a", kind), Count("b", kind)], np.arange(3), {"a": 3, "b": 2})
