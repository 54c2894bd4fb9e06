"""Counts: what each says, and ledgers that contradict themselves."""

from __future__ import annotations

import numpy as np
import pytest

from liftseries.disclosure.counts import Count, check_counts, n_patients_behind, value_of
from liftseries.disclosure.declared import Behind, Counted, behind_estimate

PATIENTS = np.array([4, 4, 4, 0, 2])
FOUR_OF_TWO = np.array([True, True, True, True, False])


def test_a_count_says_its_sites_or_the_patients_among_them():
    sites, patients = Count("sites", FOUR_OF_TWO), Count("patients", FOUR_OF_TWO, "patients")
    assert (value_of(sites, PATIENTS), value_of(patients, PATIENTS)) == (4, 2)
    assert [n_patients_behind(count, PATIENTS) for count in (sites, patients)] == [2, 2]
    as_lists = Count("sites", FOUR_OF_TWO.tolist()), Count("patients", FOUR_OF_TWO.astype(int), "patients")
    assert [value_of(count, PATIENTS.tolist()) for count in as_lists] == [4, 2]
    assert type(value_of(sites, PATIENTS)) is int


def test_all_that_is_wrong_with_a_ledger_is_named():
    counts = [
        Count("a", FOUR_OF_TWO),
        Count("a", FOUR_OF_TWO, "patients"),
        Count("numbers", FOUR_OF_TWO.astype(int)),
        Count("short", FOUR_OF_TWO[:4], "teeth"),
    ]
    with pytest.raises(ValueError, match="a: the name stands twice; numbers") as refused:
        check_counts(counts, PATIENTS)
    assert str(refused.value).split("; ") == [
        "a: the name stands twice",
        "numbers: members are not one true/false for each of 5 sites",
        "short: members are not one true/false for each of 5 sites",
        "short: a unit that is neither sites nor patients",
    ]
    check_counts([Count("a", FOUR_OF_TWO), Count("b", FOUR_OF_TWO, "patients")], PATIENTS)


def test_an_estimate_counts_its_sites_their_patients_and_the_events():
    sites, few = FOUR_OF_TWO, FOUR_OF_TWO & False
    found = behind_estimate(sites, few, event_unit="patients", needs=3, share=True, parts=(few,), rests_on=(few,))
    assert {name: (one.members is sites, one.unit) for name, one in found.counts.items()} == {
        "n_sites": (True, "sites"),
        "n_patients": (True, "patients"),
        "n_events": (False, "patients"),
    }
    assert found.counts["n_events"].members is few
    assert found.rests_on == (sites, few)
    assert (found.parts, found.needs, found.share) == ((few,), 3, True)
    without = behind_estimate(sites, gives_away=(Counted(few),), by_interval=(Counted(sites),))
    assert list(without.counts) == ["n_sites", "n_patients"]
    assert (without.gives_away[0].members is few, without.by_interval[0].members is sites) == (True, True)
    assert (without.rests_on, without.parts, without.needs, without.share) == ((sites,), (), 0, False)


@pytest.mark.parametrize("said", [{"share": True}, {"effect": True}])
def test_what_may_be_rounded(said):
    assert Behind(**said).may_be_rounded
    assert not Behind().may_be_rounded
