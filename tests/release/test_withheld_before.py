"""What a release withheld the next one does not tell either; a person stays one, whatever is written down of them."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from rates_twice import Wave, masked_of, population_of
from release_series import SMALLEST_CELL

from liftseries.models.shared.population import Population
from liftseries.release.before import read_before, record
from liftseries.release.check import attacked
from liftseries.release.masking import Masked
from liftseries.release.recorded import told_counts

FIRST = {"A": (30, 2), "B": (30, 6), "C": (40, 9), "D": (40, 10), "E": (40, 11)}
LATER = {"A": (12, 6), "B": (12, 6)}


def released_twice(folder: Path, first: Population, second: Population) -> list[Masked]:
    one = masked_of(first)
    record(folder, *told_counts(one, SMALLEST_CELL, "first", False), first)
    return [one, masked_of(second, read_before(folder, second, "second"))]


def events_told(masked: Masked) -> dict[str, int]:
    """How many perforations each protocol is told to have, below nought where that is withheld or told as few."""
    results = masked.material.results
    told = results[results["method"].eq("patients") & results["subset"].str.startswith("protocol=")]
    return dict(zip(told["subset"].str.removeprefix("protocol="), told["n_events"].astype(int), strict=True))


def may_be(told: int, n: int) -> set[int]:
    """The numbers that a count of at most n can be by itself."""
    if told >= 0:
        return {told}
    return set(range(-told if told < -1 else n + 1))


def at_first_under_a(of_first: Wave, of_later: Wave, told: list[dict[str, int]]) -> set[int]:
    """How many perforations there can have been under A at first: all combinations that agree with what was printed.

    All perforations of the first release are known; where nobody came later, both releases told of the same patients.
    """
    could_be = []
    for protocol, (n, _) in of_first.items():
        numbers = may_be(told[0][protocol], n)
        could_be.append(sorted(numbers if protocol in of_later else numbers & may_be(told[1][protocol], n)))
    total = sum(events for _, events in of_first.values())
    return {numbers[0] for numbers in itertools.product(*could_be) if sum(numbers) == total}


def test_few_that_a_release_hid_beside_others_are_not_told_once_these_are_told(tmp_path):
    """Two of A were hidden by those of another; all others told in one of two releases, they would be the rest."""
    first, second = population_of(FIRST), population_of(FIRST, LATER)
    one, two = released_twice(tmp_path, first, second)
    told = [events_told(one), events_told(two)]
    assert told[0]["A"] < 0
    assert at_first_under_a(FIRST, LATER, told) >= {1, 2, 3, 4}
    assert attacked(two, SMALLEST_CELL).recovered == []


def test_the_attack_sees_them_where_all_others_are_told(tmp_path):
    """Else finding none would prove nothing."""
    first, second = population_of(FIRST), population_of(FIRST, LATER)
    one, two = released_twice(tmp_path, first, second)
    unaware = masked_of(second)
    assert at_first_under_a(FIRST, LATER, [events_told(one), events_told(unaware)]) == {2}
    ledger = replace(unaware.ledger, before=two.ledger.before)
    assert attacked(replace(unaware, ledger=ledger), SMALLEST_CELL).recovered


def test_what_was_told_as_few_is_remembered(tmp_path):
    """Four at first, told as fewer than five; eight of 35 later, of whom five are new, would leave three or four."""
    first = {"A": (30, 4), "B": (30, 12), "C": (30, 8)}
    second = population_of(first, {"A": (5, 4), "B": (12, 6), "C": (12, 6)})
    one, two = released_twice(tmp_path, population_of(first), second)
    assert events_told(one)["A"] == -SMALLEST_CELL
    told = may_be(events_told(two)["A"], 35)
    agree = {at_first for at_first in may_be(-SMALLEST_CELL, 30) for new in range(6) if at_first + new in told}
    assert agree >= {1, 2, 3, 4}
    assert attacked(two, SMALLEST_CELL).recovered == []
    unaware = masked_of(second)
    assert events_told(unaware)["A"] == 8
    ledger = replace(unaware.ledger, before=two.ledger.before)
    assert attacked(replace(unaware, ledger=ledger), SMALLEST_CELL).recovered


@pytest.mark.parametrize(("changed", "told"), [((0, 30), 20), ((0, 30, 31), None), ((30, 31, 32, 33, 34), 25)])
def test_a_count_of_nearly_the_same_persons_is_told_again_or_not_at_all(tmp_path, changed, told):
    """Of 20 perforations of A the first is none; two and three for one leave another number, of fewer than five."""
    first = population_of({"A": (60, 20), "B": (60, 20)})
    sites = [f"A0-{at}" for at in changed]
    other = first.cases["perforation"].map({"yes": "no", "no": "yes"})
    cases = first.cases.assign(perforation=first.cases["perforation"].mask(first.cases["site_id"].isin(sites), other))
    _, two = released_twice(tmp_path, first, replace(first, cases=cases))
    events = events_told(two)["A"]
    assert events == told if told else events < 0
    assert attacked(two, SMALLEST_CELL).recovered == []


def seen_again(population: Population, n: int) -> Population:
    """The same, of whose first n patients a visit was written down."""
    sites = population.cases["site_id"].iloc[:n]
    return replace(population, visits=pd.DataFrame({"site_id": sites, "months": 12.0, "status": "functioning"}))


@pytest.mark.parametrize("n_seen", [0, 1, 180])
def test_one_new_patient_is_not_told_of_whatever_was_written_of_the_others(tmp_path, n_seen):
    """One more of A, with a perforation."""
    first, second = population_of(FIRST), population_of(FIRST, {"A": (1, 1)})
    _, two = released_twice(tmp_path, first, seen_again(second, n_seen))
    results = two.material.results
    whole = results[results["subset"].eq("all") & results["method"].eq("patients")].iloc[0]
    assert (whole["n_sites"] < 0, whole["n_events"] < 0) == (True, True)
    assert attacked(two, SMALLEST_CELL).recovered == []


def test_a_patient_of_whom_something_was_written_is_no_new_one(tmp_path):
    first = population_of({"A": (200, 35), "B": (100, 32), "C": (40, 3)})
    record(tmp_path, *told_counts(masked_of(first), SMALLEST_CELL, "first", False), first)
    before = read_before(tmp_path, seen_again(first, 7), "second")
    assert len(before.patients) == len(first.cases)
    assert before.roundly
    for of_row in before.roundly.values():
        assert of_row[0].changed.tolist() == [True] * 7 + [False] * (len(first.cases) - 7)
