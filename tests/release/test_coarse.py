"""Shares and survival told roundly where their counts are withheld: as multiples that tell of no few patients."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from release_series import HUNDRED_AND_TWENTY, SMALLEST_CELL, made_of

from liftseries.base.remarks import names_in
from liftseries.disclosure.declared import Behind, ByMonth, Counted
from liftseries.estimators.proportion import share_of_patients
from liftseries.release.by_month import Row, told_by_month
from liftseries.release.check import attacked, told_roundly
from liftseries.release.digits import Grid
from liftseries.report.kit.tables.cells import PERCENT_SCALES, estimate
from liftseries.report.survival.sentences import share_words


@pytest.fixture(scope="module")
def masked():
    """What leaves of 120 patients."""
    return made_of(HUNDRED_AND_TWENTY).masked


def told(masked) -> pd.DataFrame:
    """The rows of results.csv that are told roundly, with their unit; design effects have tests of their own."""
    rows = masked.behind["results"]
    grids = {at: grid for (name, at), grid in masked.ledger.coarse.items() if name == "results" and not rows[at].effect}
    told = masked.material.results.loc[list(grids)]
    return told.assign(unit=[grid.unit for grid in grids.values()], first=[grid.first for grid in grids.values()])


def test_what_is_told_roundly_is_a_multiple_says_so_and_has_no_count(masked):
    rows = told(masked)
    assert len(rows)
    shares = rows[rows["scale"].isin(["risk", "probability"])]
    times = (shares["estimate"] - shares["first"]) / shares["unit"]
    assert times.to_numpy() == pytest.approx(times.round().to_numpy(), abs=1e-6)
    true = masked.whole.results["estimate"].loc[rows.index]
    assert (rows["estimate"] - true).abs().le(rows["unit"] / 2 + 1e-6).all()  # as near as it says
    assert all(names_in(note) & {"rounded_share", "rounded_months"} for note in rows["note"])
    assert rows[["conf_low", "conf_high"]].isna().all(axis=None)
    counts = rows.loc[rows["scale"].eq("risk"), ["n_sites", "n_patients", "n_events"]]  # survival's are at its month
    assert len(counts)
    assert counts.lt(0).any(axis=1).all()


def test_the_interval_of_a_rounded_share_would_tell_how_many_have_the_event():
    """6 to 14 of 200 patients with a site each are all 5 per cent; to the same unit their intervals are three."""
    found = {n: share_of_patients(np.arange(200) < n, np.arange(200)) for n in range(6, 15)}
    assert {round(one.estimate / 0.05) for one in found.values()} == {1}
    ends: dict[tuple[int, int], list[int]] = {}
    for n, one in found.items():
        ends.setdefault((round(one.conf_low / 0.05), round(one.conf_high / 0.05)), []).append(n)
    assert list(ends.values()) == [[6], [7, 8, 9], [10, 11, 12, 13, 14]]


def test_the_attack_takes_what_they_tell_and_recovers_nothing(masked):
    assert attacked(masked, SMALLEST_CELL).recovered == []


def test_what_they_tell_in_all_digits_holds_of_the_series(masked):
    """Else the attack would look in the wrong place."""
    exactly = dict.fromkeys(masked.ledger.coarse, Grid(1e-6))
    tables = {name: masked.whole.table(name) for name in {name for name, _ in exactly}}
    behind = {name: masked.behind[name] for name in tables}
    ranges = [one for _, of in told_roundly(tables, behind, masked.ledger, exactly, SMALLEST_CELL) for one in of]
    assert ranges
    value = [sum(times * masked.ledger.entries[name].value for name, times in one.of.items()) for one in ranges]
    assert all(one.lowest - 0.01 <= n <= one.highest + 0.01 for one, n in zip(ranges, value, strict=True))


class Entries:
    """A ledger of the numbers failed by two months."""

    def __init__(self, *sets: np.ndarray):
        self.sets = sets

    def name_of(self, counted: Counted) -> str:
        return next(f"by {k}" for k, members in enumerate(self.sets) if np.array_equal(members, counted.members))


def test_survival_of_two_months_tells_of_the_failures_between_them():
    """Of 400, 20 fail by the first month, 4 more by the second; 300 and 200 are at risk: to 2 per cent 4 stay open."""
    n = np.arange(400)
    by_first, by_second = n < 20, n < 24
    months = [
        Behind(gives_away=(Counted(failed),), by_month=ByMonth("survival", month, n >= 0, still, n < 0))
        for failed, month, still in ((by_first, 12.0, n >= 100), (by_second, 36.0, n >= 200))
    ]
    numbers = [(survival, math.nan, math.nan) for survival in (0.95, 0.94)]
    rows = [Row(("results", at), one, told, 0.02) for at, (one, told) in enumerate(zip(months, numbers, strict=True))]
    found = told_by_month(rows, Entries(by_first, by_second), SMALLEST_CELL)
    told = [one for _, of in found for one in of if math.isfinite(one.highest)]
    ranges = {tuple(sorted(one.of)): (one.lowest, one.highest) for one in told}
    assert set(ranges) == {("by 0",), ("by 1",), ("by 0", "by 1")}
    for names, n_failed in ((("by 0",), 20), (("by 1",), 24), (("by 0", "by 1"), 4)):
        low, high = ranges[names]
        assert low <= n_failed <= high
    low, high = ranges["by 0", "by 1"]
    assert low <= 1
    assert 4 <= high < 12


def test_months_between_which_nobody_failed_are_one_count_less_itself():
    n = np.arange(200)
    months = [
        Behind(gives_away=(Counted(n < 12),), by_month=ByMonth("survival", month, n >= 0, n >= 60, n < 0))
        for month in (36.0, 60.0)
    ]
    rows = [Row(("results", at), one, (0.94, math.nan, math.nan), 0.04) for at, one in enumerate(months)]
    told = [one for _, of in told_by_month(rows, Entries(n < 12), SMALLEST_CELL) for one in of]
    assert all(one.of == {"by 0": 1.0} or (one.lowest <= 0 <= one.highest and one.of == {"by 0": 0.0}) for one in told)
    assert any(one.of == {"by 0": 0.0} for one in told)


def test_a_page_says_by_how_much_a_number_is_rounded(masked):
    """In a cell, and in a sentence on survival, where a number without an interval would be left out."""
    rows = told(masked)
    for _, row in rows.iterrows():
        assert estimate(row).endswith(")")
        assert f"(rounded, ± {50 * row['unit'] if row['scale'] in PERCENT_SCALES else row['unit'] / 2:g}" in estimate(
            row
        )
    curves = rows[rows["analysis"].eq("survival.km")]
    assert len(curves)
    assert all(share_words(row) == estimate(row) for _, row in curves.iterrows())
