"""Fewer resamples where events are many: how many are drawn, and what their rows say."""

import pandas as pd
import pytest
from invented import invented_cases

from liftseries.base.remarks import names_in
from liftseries.models.perforation.validation import fit_perforation_validation
from liftseries.models.shared.resamples import FEWEST, n_resamples_drawn


@pytest.mark.parametrize("n_events", [0, 1, 19, 499, 500])
@pytest.mark.parametrize("asked", [1, 50, 1000])
def test_up_to_500_events_all_are_drawn(n_events, asked):
    assert n_resamples_drawn(asked, n_events) == asked


def test_beyond_they_fall_as_events_grow_and_stop_at_a_hundred():
    assert [n_resamples_drawn(1000, n) for n in (501, 1000, 2000, 5000, 10**6)] == [998, 500, 250, 100, FEWEST]


@pytest.mark.parametrize("n_events", [501, 10**6])
def test_never_more_than_the_plan_asks_for(n_events):
    assert n_resamples_drawn(20, n_events) <= 20


def drawn(n):
    """Replicates of which the c statistic's have one that lies far off."""
    terms = ("c_statistic", "calibration_intercept", "calibration_slope")
    rows = [(k, term, 0.5 + k / n / 10, 0.5, False) for k in range(n) for term in terms]
    table = pd.DataFrame(rows, columns=["replicate", "term", "resampled", "tried_on_series", "penalised"])
    table.loc[0, "resampled"] = 0.0
    return table


@pytest.mark.parametrize(
    ("n_sites", "n_drawn", "told"),
    [(300, 40, "percentiles_shifted"), (6000, 40, "spread_of_resamples"), (6000, 400, "percentiles_shifted")],
)
def test_limits_of_few_resamples_of_many_events_come_from_their_spread(n_sites, n_drawn, told):
    cases = invented_cases(n_sites, seed=7)
    draws = drawn(n_drawn)
    rows = fit_perforation_validation(cases, ["rbh_mid_mm", "approach"], draws).rows
    row = rows[rows["method"].eq("optimism_corrected") & rows["term"].eq("c_statistic")].iloc[0]
    assert (row["n_events"] > 500) == (n_sites > 300)
    assert told in names_in(row["note"])
    middle = (row["conf_low"] + row["conf_high"]) / 2
    assert (abs(middle - row["estimate"]) < 1e-12) == (told == "spread_of_resamples")
