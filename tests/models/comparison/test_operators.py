"""Group and operator: when they go together, and what the contrast quoted then says; worked by hand."""

import numpy as np
import pandas as pd
import pytest
from groups_compared import perforation, row, table
from invented import category

from liftseries.base.remarks import names_in
from liftseries.models.comparison.compared import asked_of, populations
from liftseries.models.comparison.gates import operators_of


def by_operator(*operators):
    """Sites of operators: (name, sites with A, sites with B); every third of an operator's sites torn."""
    rows = [(name, group) for name, n_a, n_b in operators for group, n in (("A", n_a), ("B", n_b)) for _ in range(n)]
    cases = table(("A", 0, len(rows)))
    cases["operator"], cases["protocol"] = zip(*rows, strict=True)
    cases["perforation"] = category("perforation", np.where(np.arange(len(rows)) % 3 == 0, "yes", "no"))
    return cases


def found_of(cases):
    asked = asked_of(cases, "protocol", "A", [], ["overlap"])
    return operators_of(next(populations(cases, {}, asked, ["all"])), ("B", "A"))


def test_which_operators_tie_a_group():
    """Nine in ten sites, of nine in ten operators who have five sites."""
    tied = [("a", 9, 1), ("b", 10, 0), ("c", 5, 0), ("d", 0, 10), ("e", 1, 9), ("f", 0, 5)]
    assert found_of(by_operator(*tied)).tied
    assert found_of(by_operator(*tied)).of_group == (3, 3)
    assert not found_of(by_operator(("a", 8, 2), *tied[1:])).tied
    assert found_of(by_operator(("small", 2, 2), *tied)).tied  # under five sites: not asked
    assert not found_of(by_operator(("m", 2, 2), ("n", 2, 2))).tied  # nobody to ask
    ten = [*tied, ("g", 9, 0), ("h", 9, 0), ("i", 0, 9), ("j", 5, 5)]
    assert found_of(by_operator(*ten)).tied  # nine of ten
    assert not found_of(by_operator(*ten, ("k", 5, 5))).tied  # nine of eleven


def test_a_stray_site_makes_no_operator_of_the_other_group():
    cases = by_operator(("a", 19, 1), ("b", 20, 0), ("c", 20, 0), ("d", 0, 20), ("e", 0, 20))
    rows = perforation(cases, adjust_for=[])
    assert names_in(row(rows, "difference[B]", "crude")["problem"]) == {"no_operator_of_both"}
    assert row(rows, "risk[B]", "overlap")["headline"]


def test_where_operators_tie_the_headline_takes_their_variance():
    cases = by_operator(*((name, 12, 0) for name in "abc"), *((name, 0, 12) for name in "def"))
    often = cases["operator"].isin(["a", "e"]).to_numpy()
    torn = np.where(often, np.arange(72) % 12 < 8, np.arange(72) % 12 < 2)
    cases["perforation"] = category("perforation", np.where(torn, "yes", "no"))
    found = row(perforation(cases, adjust_for=[]), "difference[B]", "overlap")
    crude = row(perforation(cases, adjust_for=[]), "difference[B]", "crude")
    # By hand: of each group three operators of 12 sites, tears 8, 2 and 2: shares 12/36, sums of influence 4, -2, -2 of
    # 36; J / (J - 2) = 6 / 4.
    assert found["std_error"] == pytest.approx(np.sqrt(1.5 * 2 * (16 + 4 + 4) / 36**2))
    assert found["df"] == 4
    assert names_in(found["note"]) == {"between_operators"}
    assert found["headline"]
    assert crude["std_error"] == pytest.approx(np.sqrt(72 / 71 * 2 * (12 / 36) * (24 / 36) / 36))
    assert np.isnan(crude["df"])


def test_where_tied_operators_are_alike_the_patients_variance_stays():
    """A third of each operator's sites is torn, so that their influences come to nought."""
    cases = by_operator(*((name, 12, 0) for name in "abc"), *((name, 0, 12) for name in "def"))
    found = row(perforation(cases, adjust_for=[]), "difference[B]", "overlap")
    assert found["std_error"] == pytest.approx(np.sqrt(72 / 71 * 2 * (12 / 36) * (24 / 36) / 36))
    assert (found["df"], names_in(found["note"])) == (4, {"between_patients"})


def test_operators_of_a_third_group_do_not_count_among_those_of_two():
    cases = by_operator(*((name, 12, 0) for name in "abc"), *((name, 0, 12) for name in "def"))
    third = by_operator(*((name, 12, 0) for name in "ghi")).assign(protocol="C")
    third = third.assign(site_id=third["site_id"] + "x", patient_id=third["patient_id"] + "x")
    rows = perforation(pd.concat([cases, third], ignore_index=True), adjust_for=[])
    assert row(rows, "difference[B]", "overlap")["df"] == 4


def test_without_operators_nothing_is_asked_of_them():
    cases = by_operator(("a", 30, 0), ("b", 0, 30)).assign(operator=None)
    assert row(perforation(cases, adjust_for=[]), "difference[B]", "overlap")["headline"]


def test_operators_who_lean_to_a_group_are_told_beside_numbers_that_stay():
    """Three in four sites of each of six operators in one group: Σ (w_1 - w_0)² = 6 (1 / 4 - 1 / 12)² = 1 / 6."""
    lean = by_operator(*((name, 60, 20) for name in "abc"), *((name, 20, 60) for name in "def"))
    even = by_operator(*((name, 40, 40) for name in "abcdef"))
    assert found_of(lean).unevenness == pytest.approx(1 / 6)
    assert found_of(even).unevenness == pytest.approx(0)
    found = row(perforation(lean, adjust_for=[]), "difference[B]", "overlap")
    assert names_in(found["problem"]) == {"operators_uneven"}
    assert found["headline"]
    assert np.isfinite(found["conf_low"])
    assert row(perforation(lean, adjust_for=[]), "difference[B]", "crude")["problem"] == ""
    assert row(perforation(even, adjust_for=[]), "difference[B]", "overlap")["problem"] == ""
