"""Fewer resamples where events are many: how many are drawn, and what their rows say."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases
from scipy.special import expit

from liftseries.base.remarks import names_in
from liftseries.models.perforation.validation import fit_perforation_validation
from liftseries.models.shared import imputation
from liftseries.models.shared.resamples import n_drawn


@pytest.mark.parametrize("n_events", [0, 1, 19, 499, 500])
@pytest.mark.parametrize("asked", [1, 50, 1000])
def test_up_to_500_events_all_are_drawn(n_events, asked):
    assert n_drawn(asked, n_events, 100) == asked


def test_beyond_they_fall_as_events_grow_and_stop_at_a_hundred():
    assert [n_drawn(1000, n, 100) for n in (501, 1000, 2000, 5000, 10**6)] == [998, 500, 250, 100, 100]


def test_of_imputations_five_stay():
    assert [n_drawn(20, n, 5) for n in (500, 1000, 10**5)] == [20, 10, 5]


@pytest.mark.parametrize("n_events", [501, 10**6])
def test_never_more_than_the_plan_asks_for(n_events):
    assert n_drawn(20, n_events, 100) <= 20


def replicates(n):
    """Replicates of which the c statistic's have one that lies far off."""
    terms = ("c_statistic", "calibration_intercept", "calibration_slope")
    rows = [(k, term, 0.5 + k / n / 10, 0.5, False) for k in range(n) for term in terms]
    table = pd.DataFrame(rows, columns=["replicate", "term", "resampled", "tried_on_series", "penalised"])
    table.loc[0, "resampled"] = 0.0
    return table


@pytest.mark.parametrize(
    ("n_sites", "n_resamples", "told"),
    [(300, 40, "percentiles_shifted"), (6000, 40, "spread_of_resamples"), (6000, 400, "percentiles_shifted")],
)
def test_limits_of_few_resamples_of_many_events_come_from_their_spread(n_sites, n_resamples, told):
    cases = invented_cases(n_sites, seed=7)
    draws = replicates(n_resamples)
    rows = fit_perforation_validation(cases, ["rbh_mid_mm", "approach"], draws).rows
    row = rows[rows["method"].eq("optimism_corrected") & rows["term"].eq("c_statistic")].iloc[0]
    assert (row["n_events"] > 500) == (n_sites > 300)
    assert told in names_in(row["note"])
    middle = (row["conf_low"] + row["conf_high"]) / 2
    assert (abs(middle - row["estimate"]) < 1e-12) == (told == "spread_of_resamples")


def test_many_units_give_the_coefficients_that_few_give():
    """Where a model begins makes no difference to where it ends: the same draw from a start at nothing."""
    rng = np.random.default_rng(3)
    x = np.column_stack([np.ones(30_000), rng.standard_normal((30_000, 3))])
    y = rng.random(30_000) < expit(x @ [-2.0, 0.5, 0.0, -1.0])
    assert len(x) > imputation.MANY_UNITS
    found = imputation._logistic_draw(x, y, np.random.default_rng(4))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(imputation, "MANY_UNITS", len(x))
        assert found == pytest.approx(imputation._logistic_draw(x, y, np.random.default_rng(4)), abs=1e-7)
