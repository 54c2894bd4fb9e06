"""What keeps a contrast open though it has an interval: each doubt planted, and its innocent neighbour."""

import numpy as np
import pandas as pd
import pytest
from groups_compared import ASKED, perforation, row, table

from liftseries.base.remarks import names_in
from liftseries.models.comparison.compared import asked_of, populations
from liftseries.models.comparison.doubts import doubts, uneven_operators, years_apart

OF = {"method": "overlap", "std_error": 1.0}


def told(cases, term="difference[B]", method="overlap"):
    found = row(perforation(cases, adjust_for=[]), term, method)
    assert np.isfinite([found["estimate"], found["conf_low"], found["conf_high"]]).all()
    return names_in(found["problem"])


def population_of(cases):
    return next(populations(cases, {}, asked_of(cases, *ASKED.values()), ["all"]))


@pytest.mark.parametrize(
    ("cells", "name"),
    [
        ((("A", 3, 40), ("B", 12, 40)), "few_patients_with_event"),
        ((("A", 4, 40), ("B", 12, 40)), ""),
        ((("A", 40, 3), ("B", 30, 10)), "few_patients_without_event"),
        ((("A", 40, 4), ("B", 30, 10)), ""),
    ],
)
def test_fewer_than_four_patients_with_or_without_the_event(cells, name):
    assert told(table(*cells)) == ({name} if name else set())
    assert told(table(*cells), "ratio[B]") == ({name} if name else set())


def test_one_patient_s_sites_are_one_patient():
    """Six torn sites of A are three patients'."""
    cases = table(("A", 6, 40), ("B", 12, 40))
    cases.loc[[1, 3, 5], "patient_id"] = cases.loc[[0, 2, 4], "patient_id"].to_numpy()
    assert told(cases) == {"few_patients_with_event"}


@pytest.mark.parametrize(("n", "names"), [(24, {"few_effective_patients"}), (25, set())])
def test_fewer_than_25_effective_patients_leave_a_difference_open(n, names):
    cases = table(("A", 8, n - 8), ("B", 12, 40))
    assert told(cases) == names
    assert told(cases, "ratio[B]") == set()


@pytest.mark.parametrize(("high", "names"), [(9.0, {"small_effective_share"}), (4.5, set())])
def test_weights_that_leave_fewer_than_six_in_ten_leave_a_gain_open(high, names):
    """A group of low floors and one of low and high ones: few of them are alike."""
    x = np.r_[np.linspace(3, 6, 100), np.linspace(4, high, 100)]
    cases = table(("A", 20, 80), ("B", 20, 80), x=x)
    population = next(populations(cases, {}, asked_of(cases, "protocol", "A", ["rbh_mid_mm"], ["overlap"]), ["all"]))
    found = [
        set().union(*map(names_in, doubts(population, ("B", "A"), told_as, event, measured)))
        for told_as, event, measured in (
            ({"analysis": "comparison.gain", **OF, "scale": "mm"}, None, np.arange(200.0)),
            ({"analysis": "comparison.deeper", **OF, "scale": "risk_difference"}, np.arange(200) % 5 == 0, None),
        )
    ]
    assert found == [names, set()]


def test_rows_that_are_not_quoted_keep_quiet():
    assert told(table(("A", 3, 40), ("B", 12, 40)), method="crude") == set()


@pytest.mark.parametrize(
    ("years", "apart"),
    [
        (([2019] * 10, [2020] * 10), True),
        (([2019] * 9 + [2020], [2020] * 10), True),
        (([2019] * 8 + [2020] * 2, [2020] * 10), False),
        (([2019] * 10, [None] * 10), False),
    ],
)
def test_groups_of_different_years(years, apart):
    cases = table(("A", 5, 25), ("B", 5, 25))
    cases["surgery_year"] = pd.array([*np.repeat(years[0], 3), *np.repeat(years[1], 3)], dtype="Int64")
    assert years_apart(population_of(cases), ("B", "A")) is apart
    assert ("years_apart" in told(cases)) is apart


def test_without_years_nothing_is_asked_of_them():
    assert not years_apart(population_of(table(("A", 5, 25), ("B", 5, 25))), ("B", "A"))


@pytest.mark.parametrize(("scale", "size"), [("mm", 0.1), ("months", 0.1)])
def test_measurements_too_are_open_where_operators_lean(scale, size):
    """Three in four sites of each of six operators in one group; then half and half."""
    lean, even = (_leaning(share) for share in (15, 10))
    error = OF | {"analysis": "any", "scale": scale, "std_error": size}
    told_as = "operators_uneven" if scale == "months" else "operators_uneven_measured"
    for cases, names in ((lean, {told_as}), (even, set())):
        population = population_of(cases)
        measured = np.tile([0.0, 2.0], len(population.sites) // 2)
        assert set().union(*map(names_in, doubts(population, ("B", "A"), error, None, measured))) == names


def _leaning(share):
    cases = table(("A", 0, 60), ("B", 0, 60))
    names = [
        name
        for group in (0, 1)
        for k, name in enumerate("abcdef")
        for _ in range(share if k % 2 == group else 20 - share)
    ]
    return cases.assign(operator=names)


def test_what_operators_could_add_is_set_against_the_patients_variance():
    """Σ (w_1 - w_0)² = 6 (1 / 4 - 1 / 12)² = 1 / 6; 0.17 of the variance is allowed."""
    population = population_of(_leaning(15))
    limit = np.sqrt(0.17 * 6)
    assert uneven_operators(population, ("B", "A"), 1.001 * limit, 1.0)
    assert not uneven_operators(population, ("B", "A"), 0.999 * limit, 1.0)
