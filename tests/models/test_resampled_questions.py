"""Bootstraps: chunks change nothing, seeds change something; optimism and bands behave as they should."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases, invented_visits

from liftseries.estimators.resampling import patients_drawn
from liftseries.models.perforation.validation import fit_perforation_validation, validation_draws
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws

TERMS, MONTHS = ["rbh_mid_mm", "approach", "septum"], [12, 36, 60]


@pytest.fixture(scope="module")
def cases():
    return invented_cases(100, seed=31)


@pytest.fixture(scope="module")
def implants(cases):
    return follow_up(invented_visits(cases, seed=32), cases).implants


def test_as_many_patients_are_drawn_as_there_are():
    drawn = patients_drawn(40, seed=1, topic=2, first=3, n=5)
    assert drawn.shape == (5, 40)
    assert (drawn.sum(axis=1) == 40).all()
    assert (drawn[1:] == patients_drawn(40, 1, 2, 4, 4)).all()
    assert (drawn != patients_drawn(40, 1, 3, 3, 5)).any()


@pytest.mark.parametrize("chunks", [[(0, 7)], [(0, 3), (3, 4)], [(k, 1) for k in range(7)]])
def test_chunks_change_no_answer(cases, implants, chunks):
    turned = pd.concat([turnbull_draws(implants, MONTHS, 5, *chunk) for chunk in chunks], ignore_index=True)
    judged = pd.concat([validation_draws(cases, TERMS, 5, *chunk) for chunk in chunks], ignore_index=True)
    pd.testing.assert_frame_equal(turned, turnbull_draws(implants, MONTHS, 5, 0, 7), rtol=1e-6, atol=1e-8)
    pd.testing.assert_frame_equal(judged, validation_draws(cases, TERMS, 5, 0, 7))


def test_a_model_looks_better_on_its_own_sites(cases):
    """Averaged over resamples discrimination falls and slopes shrink on the series: that is what optimism is."""
    draws = validation_draws(cases, TERMS, 5, 0, 60)
    by_term = draws.groupby("term")[["resampled", "tried_on_series"]].mean()
    for term in ("c_statistic", "calibration_slope"):
        assert by_term.loc[term, "resampled"] > by_term.loc[term, "tried_on_series"]
    rows = fit_perforation_validation(cases, TERMS, draws).rows
    at = rows[rows["subset"] == "all"].set_index(["method", "term"])
    corrected, apparent = (at.loc[how, "estimate"] for how in ("optimism_corrected", "apparent"))
    assert corrected["c_statistic"] < apparent["c_statistic"]
    assert apparent["calibration_slope"] == pytest.approx(1, abs=0.1)  # exact with working independence


def test_a_useless_model_is_found_out():
    """Terms that have nothing to do with the tear: corrected discrimination near a coin's, no centre predicted."""
    cases = invented_cases(300, seed=33)
    rng = np.random.default_rng(34)
    cases["rbh_mid_mm"] = rng.permutation(cases["rbh_mid_mm"])
    draws = validation_draws(cases, TERMS, 5, 0, 40)
    rows = fit_perforation_validation(cases, TERMS, draws).rows
    c = rows[rows["term"].eq("c_statistic") & rows["subset"].eq("all")]
    c = c.set_index("method")
    assert c["estimate"]["optimism_corrected"] < c["estimate"]["apparent"]
    assert c["estimate"]["optimism_corrected"] == pytest.approx(0.5, abs=0.06)
    assert c["conf_low"]["leave_one_centre_out"] < 0.5


def test_one_centre_cannot_be_left_out(cases):
    rows = fit_perforation_validation(cases.assign(centre="east"), TERMS, validation_draws(cases, TERMS, 5, 0, 3)).rows
    left = rows[rows["method"] == "leave_one_centre_out"]
    assert left["problem"].str.contains("of one centre").all()


def test_band_of_survival_between_visits(implants):
    draws = turnbull_draws(implants, MONTHS, 5, 0, 200)
    estimates = fit_survival_turnbull(implants, MONTHS, draws)
    rows = estimates.rows.set_index("term")
    spread = draws[draws["months"] == 36]["survival"]
    m = implants.loc[implants["failed"], "patient_id"].nunique()
    assert rows.loc["36", "std_error"] == pytest.approx(spread.std() * np.sqrt(m / (m - 1)))
    assert rows.loc["36", "conf_low"] < spread.quantile(0.025)
    assert rows.loc["36", "estimate"] < rows.loc["36", "conf_high"] < 1
    assert rows["estimate"].is_monotonic_decreasing
