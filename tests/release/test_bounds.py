"""Bounds in the place of what is withheld, worked out from what is printed alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of
from scipy.stats import binom

from liftseries.base.remarks import names_in
from liftseries.release import check
from liftseries.release.bounds import with_bounds
from liftseries.release.check import attacked
from liftseries.release.digits import rounded
from liftseries.report.kit.numbers import LEAVES, WITHHELD, is_withheld, percent, share_of


def share(**told) -> pd.DataFrame:
    """A row of a share that is withheld, but for what is told of it."""
    columns = {"estimate": np.nan, "conf_low": np.nan, "conf_high": np.nan, "note": "", "problem": WITHHELD}
    counts = {"n_sites": 60.0, "n_patients": 50.0, "n_events": -5.0, "scale": "risk"}
    return pd.DataFrame([columns | counts | told])


def test_a_share_of_few_has_the_bound_of_four_patients():
    row = with_bounds(share()).iloc[0]
    assert binom.cdf(4, 50, row["conf_high"]) <= 0.05 < binom.cdf(4, 50, row["conf_high"] - 0.01)  # a whole per cent
    assert names_in(row["note"]) == {"bound_of_few"}
    assert np.isnan(row["estimate"])


@pytest.mark.parametrize(
    "told",
    [{"n_events": -1.0}, {"n_patients": -1.0}, {"scale": "probability"}, {"estimate": 0.1}],
    ids=["not told as few", "patients withheld", "no share of sites", "told"],
)
def test_what_is_not_told_gives_no_bound(told):
    pd.testing.assert_frame_equal(with_bounds(share(**told)), share(**told))


def test_a_bound_is_that_of_the_patients_where_how_many_sites_is_withheld():
    whole, withheld = with_bounds(share()).iloc[0], with_bounds(share(n_sites=-1.0)).iloc[0]
    assert withheld["conf_high"] == whole["conf_high"]
    of_many = with_bounds(share(n_sites=-1.0, n_patients=215.0)).iloc[0]
    assert binom.cdf(4, 215, of_many["conf_high"]) <= 0.05 < binom.cdf(4, 215, of_many["conf_high"] - 0.001)


def test_the_bound_is_the_same_whatever_the_count_is():
    """Of a release: the rows told as few differ in their true counts, and not in bounds of as many patients."""
    masked = made_of("sixty").masked
    few = masked.material.results["note"].map(lambda note: "bound_of_few" in names_in(note)).astype(bool)
    assert few.any()
    shown = masked.material.results[few]
    assert (masked.whole.results.loc[shown.index, "n_events"] < SMALLEST_CELL).all()
    for _, rows in shown.groupby(["n_sites", "n_patients"]):
        assert rows["conf_high"].nunique() == 1


def test_each_headline_question_of_twelve_patients_has_a_number_or_a_bound():
    masked = made_of("dozen").masked
    names = {name for cell, name in masked.ledger.cells.items() if name in masked.ledger.headline}
    assert names == masked.ledger.headline
    shown = {
        name: masked.material.table(table)[column].iloc[row]
        for (table, row, column), name in masked.ledger.cells.items()
        if column == "n_events" and name in names
    }
    assert shown
    assert not [name for name, value in shown.items() if value == -1]
    bounds = {name: -value for name, value in shown.items() if is_withheld(value)}
    assert all(masked.ledger.entries[name].value < bound for name, bound in bounds.items())
    assert attacked(masked, SMALLEST_CELL).recovered == []


def test_a_share_of_few_sites_is_a_whole_per_cent():
    scale, n = pd.Series(["risk", "risk", "risk", "probability"]), np.array([199.0, 200.0, np.nan, 60.0])
    told = rounded(pd.Series([0.12345, 0.12345, 0.12345, 0.99999]), "estimate", scale, n)
    assert told.tolist() == [0.12, 0.123, 0.123, 0.9996]


def test_a_whole_per_cent_is_printed_as_one_where_it_leaves_and_only_there():
    assert (percent(0.12), share_of(12, 97)) == ("12.0%", "12 of 97 (12.4%)")
    token = LEAVES.set(True)
    try:
        assert (percent(0.12), percent(0.123), percent(0.0), percent(1.0)) == ("12%", "12.3%", "0.0%", "100.0%")
        assert (share_of(12, 97), share_of(48, 412)) == ("12 of 97 (12%)", "48 of 412 (11.7%)")
    finally:
        LEAVES.reset(token)


def test_the_attack_knows_that_the_lowest_bound_is_told_that_may_be(monkeypatch):
    masked, taken = made_of("dozen").masked, {}
    nothing = pd.DataFrame(columns=["name", "lower", "upper", "recovered"])
    monkeypatch.setattr(check, "told_apart", lambda counts, patients, values, *_, **__: taken.update(values) or nothing)
    attacked(masked, SMALLEST_CELL)
    assert masked.ledger.told_below
    for name, below in masked.ledger.told_below.items():
        lowest = below - SMALLEST_CELL if masked.ledger.entries[name].value >= below - SMALLEST_CELL else 0
        ranges = {told for of, told in taken.items() if of.rpartition(" | ")[0] == name and told is not None}
        assert ranges == {(lowest, below - 1)}
