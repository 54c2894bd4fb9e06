"""Fewer resamples where events are many: how many are drawn, and what their rows say."""

import numpy as np
import pandas as pd
import pytest
from invented import category, invented_cases

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


def test_of_many_units_each_draw_is_fitted_to_some_that_are_known():
    known = np.arange(50_000) % 3 > 0
    rng = np.random.default_rng(3)
    one, other = (imputation._some(known, rng) for _ in range(2))
    assert one.sum() == other.sum() == imputation.MOST_FITTED
    assert not (one & ~known).any()
    assert (one != other).any()
    few = known[: imputation.MOST_FITTED]
    assert imputation._some(few, rng) is few


def test_what_is_drawn_from_some_of_many_units_is_as_right(monkeypatch):
    """A level that goes with the outcome, half of it missing: the share imputed is the share known, of all or some."""
    rng = np.random.default_rng(5)
    cases = invented_cases(700, seed=9).reset_index(drop=True)
    event = rng.random(len(cases)) < 0.3
    yes = rng.random(len(cases)) < np.where(event, 0.7, 0.2)
    hidden = rng.random(len(cases)) < 0.5
    cases["septum"] = pd.Categorical(np.where(hidden, None, np.where(yes, "yes", "no")), categories=["no", "yes"])
    chain = imputation.chain_of(cases, ["septum"], [], {"event": event}, [])
    for most in (len(cases), 300):
        monkeypatch.setattr(imputation, "MOST_FITTED", most)
        sets = list(imputation.completed_sets(chain, seed=1, topic=2, first=0, n=20, iterations=2))
        for outcome in (False, True):
            drawn = np.mean(
                [table["septum"].eq("yes").to_numpy()[hidden & (event == outcome)].mean() for table in sets]
            )
            assert drawn == pytest.approx(yes[~hidden & (event == outcome)].mean(), abs=0.06)


def test_levels_that_no_unit_has_to_which_a_model_is_fitted(monkeypatch):
    """Of three levels the last two stand once each among 400 known; a model of 20 of them knows neither."""
    n = 800
    smoking = np.full(n, "never", object)
    smoking[[5, 9]] = "former", "current"
    smoking[1::2][50:] = None
    table = pd.DataFrame({"patient_id": range(n), "smoking": category("smoking", smoking)})
    chain = imputation.chain_of(table, ["smoking"], [], {"event": np.arange(n) % 7 == 0}, ["smoking"])
    monkeypatch.setattr(imputation, "MOST_FITTED", 20)
    for filled in imputation.completed_sets(chain, seed=1, topic=2, first=0, n=5, iterations=2):
        assert filled["smoking"].notna().all()
