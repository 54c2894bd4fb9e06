"""What earlier releases told roundly is recorded, and the next release is attacked together with it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from rates_twice import counts_alone, masked_of, population_of
from release_series import HUNDRED_AND_TWENTY, SMALLEST_CELL, made_of
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.base.outputs import write_csv
from liftseries.models.shared.population import Population
from liftseries.release import coarse
from liftseries.release.before import FOLDER, HOUSE, OF_ROUNDED, Before, read_before, record, told_before
from liftseries.release.changed import MayBe, may_be
from liftseries.release.check import attacked
from liftseries.release.coarse import SHARES, with_coarse
from liftseries.release.digits import Grid
from liftseries.release.masking import Masked, mask
from liftseries.release.recorded import check_read_back, check_record, told_counts
from liftseries.study.plan import read_plan

# Three of C are hidden by B, told as 33 per cent ± 2.5, which is 31 of 100 or more. Later nothing need be hidden.
FIRST = {"A": (200, 35), "B": (100, 32), "C": (40, 3)}
LATER = {"A": (6, 6), "B": (8, 2), "C": (20, 9)}
B = "results, perforation.rate, protocol=B, rate, patients"


def released(folder: Path, population: Population, run: str = "first", before: Before | None = None) -> Masked:
    """A release, which is recorded."""
    masked = masked_of(population, before)
    record(folder, *told_counts(masked, SMALLEST_CELL, run, False), population)
    return masked


def told_of(masked: Masked, run: str = "any") -> pd.DataFrame:
    return told_counts(masked, SMALLEST_CELL, run, False)[0]


def row_of(masked: Masked, subset: str = "protocol=B") -> pd.Series:
    results = masked.material.results
    return results[results["subset"].eq(subset) & results["method"].eq("patients")].iloc[0]


def test_a_number_told_roundly_is_recorded_with_its_grid(tmp_path):
    masked = released(tmp_path, population_of(FIRST))
    told = told_before(tmp_path).set_index("row").loc[B]
    assert (told["unit"], told["form"]) == ("sites", "rounded")
    assert float(told["value"]) == row_of(masked)["estimate"] == 0.33
    assert Grid(told["step"], told["first"]) == Grid(0.05, 0.03)
    n_rounded = int(told_of(masked)["form"].eq("rounded").sum())
    assert n_rounded == len(masked.ledger.coarse) == 3


def test_what_was_told_holds_of_the_sets_that_are_recorded(tmp_path):
    """31 to 35 of B, and k with it and k without, over the patients of both releases."""
    released(tmp_path, population_of(FIRST))
    later = population_of(FIRST, LATER)
    before = read_before(tmp_path, later, "second")
    (number,) = before.roundly[B]
    is_first_b = later.cases["site_id"].str.startswith("B0").to_numpy()
    for of, expected in zip(number.sets, (is_first_b, is_first_b & later.perforated, is_first_b), strict=True):
        assert (of == expected).all()
    value = {count.name: int(count.members.sum()) for count in before.counts}
    assert set(value.values()) >= {100, 32}
    assert before.told
    for one in before.told:
        assert one.lowest <= sum(times * value[name] for name, times in one.of.items()) <= one.highest


def test_a_count_told_later_and_a_share_told_before_leave_three_of_eight_at_most(tmp_path):
    """34 of 108 later, less 31 or more: so not four of the eight who came; by what was told roundly alone."""
    released(tmp_path, population_of(FIRST))
    later = population_of(FIRST, LATER)
    before = read_before(tmp_path, later, "second")
    unaware = masked_of(later, counts_alone(before))
    assert row_of(unaware)["n_events"] == 34
    assert attacked(unaware, SMALLEST_CELL).recovered == []
    for known, is_recovered in ((replace(before, told=[]), False), (before, True)):
        both = replace(unaware, ledger=replace(unaware.ledger, before=known))
        found = attacked(both, SMALLEST_CELL)
        assert bool(found.recovered) is is_recovered
    (target,) = found.targets[found.targets["recovered"].astype(bool)].itertuples()
    assert (target.value, target.upper) == (2, 3)


def test_the_next_release_does_not_tell_what_would_give_them_away(tmp_path):
    released(tmp_path, population_of(FIRST))
    later = population_of(FIRST, LATER)
    masked = masked_of(later, read_before(tmp_path, later, "second"))
    assert row_of(masked)["n_events"] < 0
    assert attacked(masked, SMALLEST_CELL).recovered == []
    assert masked.material.results["estimate"].notna().any()


@pytest.mark.parametrize(
    ("first", "later"),
    [
        ({"A": (60, 12), "B": (100, 15), "C": (60, 2)}, {"A": (6, 1), "B": (6, 0), "C": (40, 12)}),
        ({"A": (100, 15), "B": (200, 15), "C": (40, 2)}, {"A": (20, 5), "C": (6, 4)}),
        ({"A": (200, 17), "B": (100, 23), "C": (40, 3)}, {"A": (20, 2), "B": (1, 1), "C": (8, 8)}),
    ],
)
def test_three_releases_together_tell_of_no_few(tmp_path, first, later):
    """The second and the third are of the same patients but for one more."""
    released(tmp_path, population_of(first))
    second = population_of(first, later)
    before = read_before(tmp_path, second, "second")
    unaware = masked_of(second, counts_alone(before))
    both = replace(unaware, ledger=replace(unaware.ledger, before=before))
    assert attacked(both, SMALLEST_CELL).recovered  # else finding none would prove nothing
    assert attacked(released(tmp_path, second, "second", before), SMALLEST_CELL).recovered == []
    third = population_of(first, later, {"A": (1, 1)})
    masked = masked_of(third, read_before(tmp_path, third, "third"))
    assert attacked(masked, SMALLEST_CELL).recovered == []


def corrected(population: Population, *sites: str) -> Population:
    """The same, where something was corrected of some patients."""
    cases = population.cases
    return replace(population, cases=cases.assign(remark=cases["remark"].mask(cases["site_id"].isin(sites), "seen")))


def torn_otherwise(population: Population, *sites: str) -> Population:
    """The same, where it was corrected of some sites whether the membrane tore."""
    cases = population.cases
    other = cases["perforation"].map({"yes": "no", "no": "yes"})
    other = cases["perforation"].mask(cases["site_id"].isin(sites), other)
    return replace(population, cases=cases.assign(perforation=other))


def test_a_number_of_whom_few_were_corrected_is_told_again(tmp_path):
    population = population_of(FIRST)
    row = next(iter(released(tmp_path, population).ledger.coarse))
    other = corrected(population, "B0-1", "B0-2")
    masked = masked_of(other, read_before(tmp_path, other, "second"))
    may = may_be(masked, [row], SHARES, SMALLEST_CELL)
    assert list(may.grids) == [Grid(0.05, 0.03)]
    assert may.told_as(0.33)
    assert not may.told_as(0.38)
    assert row_of(masked)["estimate"] == 0.33
    assert attacked(masked, SMALLEST_CELL).recovered == []


def test_a_number_that_would_be_another_once_few_were_corrected_is_withheld(tmp_path, monkeypatch):
    """19 per cent of A by steps of 5, where the attack alone would have 20 told by others after three corrections.

    Of B so many are corrected that the number of all perforations may be told.
    """
    population = population_of({"A": (100, 20), "B": (60, 20), "C": (60, 1)})
    assert row_of(released(tmp_path, population), "protocol=A")["estimate"] == 0.19
    other = torn_otherwise(population, "A0-0", "A0-82", "A0-83", *(f"B0-{at}" for at in range(20, 25)))
    before = read_before(tmp_path, other, "second")
    assert math.isnan(row_of(masked_of(other, before), "protocol=A")["estimate"])
    monkeypatch.setattr(coarse, "may_be", lambda masked, rows, grids, smallest_cell: MayBe(grids, frozenset()))
    assert row_of(masked_of(other, before), "protocol=A")["estimate"] == 0.2


def test_a_corrected_patient_is_one_person_in_both_releases(tmp_path):
    """Three corrected patients of B are six by their keys, which would be enough; five are."""
    population = population_of(FIRST)
    row = next(iter(released(tmp_path, population).ledger.coarse))
    for n, grids in ((0, SHARES), (1, [Grid(0.05, 0.03)]), (3, [Grid(0.05, 0.03)]), (5, SHARES)):
        other = corrected(population, *(f"B0-{at}" for at in range(n)))
        masked = masked_of(other, read_before(tmp_path, other, "second"))
        may = may_be(masked, [row], SHARES, SMALLEST_CELL)
        assert (list(may.grids), may.again) == (grids, None if n else Grid(0.05, 0.03))


def test_two_earlier_numbers_that_differ_leave_none_once_few_have_changed(tmp_path):
    population = population_of(FIRST)
    row = next(iter(released(tmp_path, population).ledger.coarse))
    other = corrected(population, "B0-1")
    before = read_before(tmp_path, other, "second")
    (number,) = before.roundly[B]
    masked = masked_of(other, before)
    for second, n_grids in ((replace(number, grid=Grid(0.02, 0.01)), 0), (number, 1)):
        twice = replace(before, roundly={B: [number, second]})
        masked = replace(masked, ledger=replace(masked.ledger, before=twice))
        assert len(may_be(masked, [row], SHARES, SMALLEST_CELL).grids) == n_grids
    twice = replace(before, roundly={B: [number, replace(number, number=0.38)]})
    may = may_be(replace(masked, ledger=replace(masked.ledger, before=twice)), [row], SHARES, SMALLEST_CELL)
    assert not may.told_as(0.33)


def test_the_same_series_released_by_another_run_tells_the_same(tmp_path):
    population = population_of(FIRST)
    first = released(tmp_path, population)
    before = read_before(tmp_path, population, "second")
    second = masked_of(population, before)
    assert second.ledger.coarse == first.ledger.coarse
    assert read_before(tmp_path, population, "first") is None
    pd.testing.assert_frame_equal(second.material.results, first.material.results)
    pd.testing.assert_frame_equal(told_of(second), told_of(first))


@pytest.fixture(scope="module")
def of_many(tmp_path_factory) -> tuple[Masked, Before]:
    """What leaves of 120 patients, and what the next release finds recorded of it."""
    folder, made = tmp_path_factory.mktemp("released"), made_of(HUNDRED_AND_TWENTY)
    record(folder, *told_counts(made.masked, SMALLEST_CELL, "first", False), made.population)
    return made.masked, read_before(folder, made.population, "second")


def test_survival_months_and_design_effects_are_recorded_too(of_many):
    masked, before = of_many
    assert sum(map(len, before.roundly.values())) == len(masked.ledger.coarse)
    kinds = {key.split(", ")[1 if key.startswith("results") else 0] for key in before.roundly}
    assert kinds >= {"survival_curves", "survival.km", "survival.rmst", "clustering.design_effect", "perforation.rate"}
    value = {count.name: masked.ledger.population.n_patients(count.members) for count in before.counts}
    value |= {count.name: int(count.members.sum()) for count in before.counts if count.unit == "sites"}
    for one in before.told:
        n = sum(times * value[name] for name, times in one.of.items())
        assert one.lowest - 1e-6 <= n <= one.highest + 1e-6


def test_a_second_release_of_many_tells_the_same(of_many):
    first, before = of_many
    made = made_of(HUNDRED_AND_TWENTY)
    second = with_coarse(mask(made.whole, made.population, SMALLEST_CELL, before=before), SMALLEST_CELL)
    assert second.ledger.coarse == first.ledger.coarse
    rounded = (table[table["form"].eq("rounded")] for table in (told_of(first), told_of(second)))
    pd.testing.assert_frame_equal(*rounded)
    assert attacked(second, SMALLEST_CELL).recovered == []


@pytest.fixture
def plan(tmp_path):
    """A study in whose folder a bundle lies, and no record of it."""
    plan = read_plan(write_study(tmp_path / "study"))
    (plan.folder / "release").mkdir()
    return plan


def test_a_lost_record_is_read_back_with_what_was_told_roundly(plan, tmp_path):
    population = population_of(FIRST)
    masked = released(tmp_path, population)
    write_csv(plan.folder / "release" / "told.csv", told_of(masked, "first"))
    check_record(plan, told_before(plan.folder), "first", with_rows=False)
    check_read_back(plan, told_of(masked, "first"))
    released(plan.folder, population)
    for path in (tmp_path / FOLDER).rglob("*.csv"):
        assert (plan.folder / FOLDER / path.relative_to(tmp_path / FOLDER)).read_bytes() == path.read_bytes()
    other = told_of(masked, "first").replace({"step": {"0.05": "0.04"}})
    with pytest.raises(StudyError, match="says other counts"):
        check_read_back(plan, other)


def test_the_variant_with_rows_is_read_back_too(plan):
    told, _ = told_counts(masked_of(population_of(FIRST)), SMALLEST_CELL, "first", True)
    write_csv(plan.folder / "release" / "told.csv", told)
    check_record(plan, told_before(plan.folder), "first", with_rows=True)
    check_read_back(plan, told)


def test_a_record_of_counts_alone_is_read(plan, tmp_path):
    """As releases left it before withheld counts and numbers told roundly were recorded."""
    population = population_of(FIRST)
    told = told_of(released(tmp_path, population), "first")
    counts = told[told["form"].ne("rounded")].drop(columns=list(OF_ROUNDED))
    write_csv(plan.folder / "release" / "told.csv", counts)
    check_record(plan, told_before(plan.folder), "first", with_rows=False)
    check_read_back(plan, told)
    write_csv(tmp_path / FOLDER / "0001.csv", counts)
    for path in (tmp_path / FOLDER / HOUSE).glob("0001.*.csv"):
        path.unlink()
    house = tmp_path / FOLDER / HOUSE / "0001.csv"
    house.write_text("".join(line for line in house.open() if not line.startswith("h")))
    before = read_before(tmp_path, population, "second")
    assert len(before.counts) == int(counts["form"].eq("exact").sum()) > 0
    assert (before.told, before.roundly) == ([], {})
    assert attacked(masked_of(population, before), SMALLEST_CELL).recovered == []


@pytest.mark.parametrize("lost", ["rounded", "tables"])
def test_a_release_whose_ranges_are_lost_is_no_ground_for_another(tmp_path, lost):
    population = population_of(FIRST)
    released(tmp_path, population)
    (tmp_path / FOLDER / HOUSE / f"0001.{lost}.csv").unlink()
    with pytest.raises(StudyError, match="is lost"):
        read_before(tmp_path, population, "second")
