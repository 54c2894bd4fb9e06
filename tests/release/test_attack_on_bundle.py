"""A reader who adds and subtracts all that the bundle prints works out no count of few patients."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from release_series import (
    FORTY_WITHOUT_A_LOG,
    FORTY_WITHOUT_VISITS,
    HUNDRED_AND_TWENTY,
    SMALLEST_CELL,
    THIRTY_WITHOUT_A_TEAR,
    made_of,
)

from liftseries.disclosure.counts import Count, set_of, value_of
from liftseries.disclosure.declared import Counted
from liftseries.release.check import attacked, known_of, shown_values
from liftseries.release.enumerated import enumerated
from liftseries.release.masking import Masked, masked_material

TEN = 10  # of sixty patients no group that is told has fewer than five perforations


KINDS = [
    FORTY_WITHOUT_VISITS,
    FORTY_WITHOUT_A_LOG,
    THIRTY_WITHOUT_A_TEAR,
    HUNDRED_AND_TWENTY,
    "sixty",
    "dozen",
    "empty",
]


@pytest.mark.parametrize("kind", KINDS)
def test_no_small_count_can_be_worked_out_from_what_is_printed(kind):
    assert attacked(made_of(kind).masked, SMALLEST_CELL).recovered == []


def test_a_small_series_tells_more_than_its_headline_though_most_counts_hang_on_one_of_few():
    """Of a series of which the headline's counts are told alone, no subset tells how many patients it has."""
    results = made_of(FORTY_WITHOUT_A_LOG).masked.material.results
    told = results["subset"].ne("all") & results["n_patients"].gt(0)
    assert len(results.loc[told, ["analysis", "subset"]].drop_duplicates()) > 5


def test_a_bound_whose_patients_are_told_gives_nothing_away_and_stays():
    """Of a series without a tear the bound follows from the number of patients, which is told."""
    masked = made_of(THIRTY_WITHOUT_A_TEAR).masked
    results = masked.material.results
    quoted = results[results["analysis"].eq("perforation.rate") & results["subset"].eq("all") & results["headline"]]
    assert quoted["n_patients"].gt(0).all()
    assert quoted["conf_high"].between(0.05, 0.2).all()
    assert not enumerated(masked, SMALLEST_CELL)["recovered"].any()


def test_the_number_of_patients_is_read_off_a_bound_where_it_is_told_nowhere():
    """Else finding none would prove nothing: the same numbers printed, none of their counts."""
    masked = made_of(THIRTY_WITHOUT_A_TEAR).masked
    names = frozenset(count.name for count in masked.ledger.counts(SMALLEST_CELL))
    none_told = replace(masked, protection=replace(masked.protection, complementary=names))
    counts = dict.fromkeys(("n_sites", "n_patients", "n_events"), -1.0)
    results = masked.material.results.assign(**counts)
    hidden = replace(masked.material, tables={**masked.material.tables, "results": results})
    found = enumerated(replace(none_told, material=hidden), SMALLEST_CELL)
    assert found["recovered"].any()
    assert (found["lower"].le(found["value"]) & found["value"].le(found["upper"]))[found["recovered"]].all()


def with_no_count_of_rates() -> Masked:
    """Every subset's rate with its intervals, and none of their counts."""
    made = made_of("sixty")
    names = frozenset(count.name for count in made.masked.ledger.counts(SMALLEST_CELL))
    protection = replace(made.masked.protection, complementary=names)
    whole = made.masked.whole.results
    is_rate = whole["analysis"].eq("perforation.rate") & whole["method"].isin(["wilson", "exact"])
    printed = whole.where(is_rate, whole.assign(estimate=np.nan))
    counts = dict.fromkeys(("n_sites", "n_patients", "n_events"), -1.0)
    tables = {**made.masked.material.tables, "results": printed.assign(**counts)}
    material = replace(made.masked.material, tables=tables)
    return replace(made.masked, material=material, protection=protection)


def test_both_counts_are_read_off_wilsons_and_the_exact_interval_where_they_are_told_nowhere():
    """Few is under ten."""
    found = enumerated(with_no_count_of_rates(), TEN)
    found = found[found["name"].str.contains("of row") & ~found["name"].str.startswith("patients")]
    assert len(found) > 10
    few = found["value"].between(1, TEN - 1)
    assert few.any()
    assert found.loc[few, "recovered"].all()
    assert (found["lower"].le(found["value"]) & found["value"].le(found["upper"])).all()


def test_the_attack_had_something_to_look_for():
    found = attacked(made_of(FORTY_WITHOUT_VISITS).masked, SMALLEST_CELL)
    assert len(found.targets) > 10
    assert found.n_known > 30


def test_a_count_told_as_few_is_taken_to_be_no_more_than_few():
    told = shown_values(made_of("sixty").masked)
    assert {value for value in told.values() if isinstance(value, tuple)} == {(0, SMALLEST_CELL - 1)}


def test_a_count_that_is_withheld_and_not_told_as_few_is_taken_to_be_no_less():
    """None of those that are withheld to hide others is told as few; the attack may be told of each what is true."""
    masked = made_of(FORTY_WITHOUT_VISITS).masked
    known, patients = known_of(masked, SMALLEST_CELL), masked.ledger.patients
    at_least = [count for count in known.counts if known.values[count.name] == (SMALLEST_CELL, math.inf)]
    assert {count.name for count in at_least} >= masked.protection.told_as_many > set()
    assert min(value_of(count, patients) for count in at_least) >= SMALLEST_CELL


def test_the_attack_works_them_out_where_only_small_counts_are_withheld():
    """Else finding none would prove nothing."""
    masked = made_of(FORTY_WITHOUT_VISITS).masked
    protection = replace(masked.protection, complementary=frozenset())
    material, _ = masked_material(masked.whole, masked.behind, masked.ledger, protection, SMALLEST_CELL)
    assert attacked(replace(masked, material=material, protection=protection), SMALLEST_CELL).recovered


@pytest.mark.parametrize(("wider", "recovered"), [(0, False), (1, True)])
def test_of_such_a_count_no_more_is_asked_than_what_earlier_releases_leave(wider, recovered):
    masked = with_no_count_of_rates()
    found = enumerated(masked, TEN)
    found = found[found["name"].str.startswith("events of row") & found["recovered"] & found["upper"].lt(TEN - 1)]
    events = [masked.behind["results"][int(name.split()[-1])].gives_away[1] for name in found["name"]]
    sets = [set_of(Count("", members_of(one, masked), one.unit)) for one in events]
    left = dict(zip(sets, zip(found["lower"], found["upper"] + wider, strict=True), strict=True))
    again = enumerated(replace(masked, ledger=replace(masked.ledger, left=left)), TEN)
    assert len(found) > 3
    assert again.loc[again["name"].isin(found["name"]), "recovered"].eq(recovered).all()


def members_of(counted: Counted, masked: Masked) -> np.ndarray:
    """Of a count of patients, all sites of these."""
    patients_of = masked.ledger.population.patients_of
    return patients_of(counted.members) if counted.unit == "patients" else counted.members
