"""Design effects told as 1 or 2: what a whole number tells of how many have an event, and what a decimal would."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from release_series import HUNDRED_AND_TWENTY, SMALLEST_CELL, made_of

from liftseries.base.remarks import names_in
from liftseries.disclosure.declared import Behind, Counted
from liftseries.estimators.proportion import share_of_patients
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.check import attacked
from liftseries.release.digits import effect_told
from liftseries.release.effects import events_of, known_again, told_of_effect

# Eighty patients with a site each and twenty with two; at most three in ten have both sites with the event.
PATIENTS = np.concatenate([np.arange(80), np.repeat(np.arange(80, 100), 2)])
NUMBERS = range(SMALLEST_CELL, 25)


@cache
def effect(n_events: int, n_both: int) -> float:
    """Of so many sites, so many patients with both theirs, the others with one site each."""
    event = np.zeros(len(PATIENTS), bool)
    event[80 : 80 + 2 * n_both] = True
    event[: n_events - 2 * n_both] = True
    share = share_of_patients(event, PATIENTS)
    return float(share.std_error**2 / (share.estimate * (1 - share.estimate) / len(event)))


def tables() -> list[tuple[int, int]]:
    """Every table: sites with the event, and patients with both."""
    return [(n, both) for n in NUMBERS for both in range(n // 2 + 1) if n - both >= SMALLEST_CELL - 1]


def test_each_number_with_the_event_can_have_either_whole_number():
    """From five on: so a reader who knows nothing of how many have both learns nothing."""
    found = {(n, effect_told(effect(n, both))) for n, both in tables()}
    assert found == {(n, told) for n in NUMBERS for told in (1.0, 2.0)}


def test_two_decimals_tell_most_numbers_with_the_event():
    """Else nothing would be gained."""
    left: dict[float, set[int]] = {}
    for n, both in tables():
        left.setdefault(round(effect(n, both), 2), set()).add(n)
    assert sum(len(numbers) == 1 for numbers in left.values()) > len(left) / 2


def test_of_patients_with_a_site_each_it_is_one_whatever_their_number():
    patients = np.arange(120)
    for n in range(SMALLEST_CELL, 30):
        share = share_of_patients(patients < n, patients)
        assert effect_told(share.std_error**2 / (share.estimate * (1 - share.estimate) / 120)) == 1.0


class Named:
    """A ledger that names sites with the event, their patients and all sites."""

    def __init__(self, *counted: Counted):
        self.counted = counted

    def name_of(self, counted: Counted) -> str | None:
        return next(
            (
                f"{one.unit} {k}"
                for k, one in enumerate(self.counted)
                if one.unit == counted.unit and np.array_equal(one.members, counted.members)
            ),
            None,
        )


@pytest.mark.parametrize("of_patients", [True, False])
def test_what_the_attack_takes_holds_of_every_table(of_patients):
    """Where patients are counted beside sites, and where a larger number is told of which two patients have both."""
    sites = np.arange(len(PATIENTS)) >= 0
    event = np.zeros(len(PATIENTS), bool)
    event[:SMALLEST_CELL] = True
    whole, part, people = Counted(sites), Counted(event), Counted(event, "patients")
    ledger = Named(whole, part, people) if of_patients else Named(whole, part)
    behind = Behind(gives_away=(whole, part), rests_on=(sites,), effect=True)
    assert [one.members.sum() for one in events_of(behind)] == [SMALLEST_CELL]
    again = [] if of_patients else [(sites, 2), (event & False, 0)]
    excluded = 0
    for n, both in tables():
        value = {"sites 0": len(PATIENTS), "sites 1": n, "patients 2": n - both}
        told = told_of_effect(effect_told(effect(n, both)), behind, ledger, again, SMALLEST_CELL)
        if of_patients or both <= 2:
            for one in told:
                total = sum(times * value[name] for name, times in one.of.items())
                assert one.lowest <= total <= one.highest, (n, both, one)
        other = told_of_effect(3.0 - effect_told(effect(n, both)), behind, ledger, again, SMALLEST_CELL)
        excluded += any(
            not one.lowest <= sum(times * value[name] for name, times in one.of.items()) <= one.highest for one in other
        )
    assert excluded


def test_of_events_it_takes_those_within_a_whole_and_each_of_two_groups():
    first, second = np.arange(9) < 3, np.arange(9) > 5
    apart = Behind(gives_away=(Counted(first), Counted(second)), effect=True)
    assert [one.members.tolist() for one in events_of(apart)] == [first.tolist(), second.tolist()]


@pytest.fixture(scope="module")
def masked():
    """What leaves of 120 patients."""
    return made_of(HUNDRED_AND_TWENTY).masked


def test_what_is_told_is_one_or_two_and_says_so_where_counts_are_withheld(masked):
    results, gone = masked.material.results, masked.ledger.withheld(masked.protection.withheld)
    rows = [at for name, at in masked.ledger.coarse if name == "results" and masked.behind["results"][at].effect]
    assert rows
    assert results.loc[rows, "analysis"].eq(DESIGN_EFFECT).all()
    assert results.loc[rows, "estimate"].isin([1.0, 2.0]).all()
    assert all("rounded_effect" in names_in(note) for note in results.loc[rows, "note"])
    for at in rows:
        away = masked.behind["results"][at].gives_away
        assert not all(masked.ledger.is_told(counted, gone) for counted in away)
        assert min(masked.ledger.population.n_patients(counted.members) for counted in away) >= SMALLEST_CELL


def test_what_they_tell_holds_of_the_series_and_recovers_nothing(masked):
    again, entries = known_again(masked), masked.ledger.entries
    assert any(q for _, q in again)
    for name, at in masked.ledger.coarse:
        behind = masked.behind[name][at]
        if name == "results" and behind.effect:
            number = masked.material.results["estimate"].iloc[at]
            for one in told_of_effect(number, behind, masked.ledger, again, SMALLEST_CELL):
                total = sum(times * entries[counted].value for counted, times in one.of.items())
                assert one.lowest <= total <= one.highest
                assert not math.isnan(total)
    assert attacked(masked, SMALLEST_CELL).recovered == []
