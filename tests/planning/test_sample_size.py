"""The next study's size: what is simulated is what was fitted, and the answer is what theory gives."""

import numpy as np
import pandas as pd
import pytest
from models.invented import category, invented_cases
from scipy.special import ndtri
from scipy.stats import multivariate_normal

from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.planning.sample_size import sample_size
from liftseries.planning.simulated import (
    at_rate,
    half_widths,
    latent_correlation,
    mean_correlation,
    simulated_from,
    study_drawn,
)

TERMS = ["rbh_mid_mm", "approach"]
Z = 1.959964


@pytest.fixture(scope="module")
def cases():
    return invented_cases(n_patients=150, seed=3)


def one_site_each(n: int, n_perforated: int) -> pd.DataFrame:
    """Patients with one site each: sites are independent, so textbook formulas hold."""
    return pd.DataFrame(
        {
            "patient_id": [f"P{i}" for i in range(n)],
            "perforation": category("perforation", ["yes"] * n_perforated + ["no"] * (n - n_perforated)),
        }
    )


# ── the simulated studies ─────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("risks", "rho"), [((0.05, 0.05), 0.5), ((0.02, 0.3), 0.3), ((0.4, 0.1), 0.8)])
def test_correlation_of_a_pair_is_that_of_the_bivariate_normal(risks, rho):
    """Second implementation: scipy's bivariate normal distribution function."""
    p, q = risks
    both = multivariate_normal.cdf(ndtri(risks), mean=[0, 0], cov=[[1, rho], [rho, 1]])
    expected = (both - p * q) / np.sqrt(p * (1 - p) * q * (1 - q))
    assert mean_correlation(np.array(risks), np.array([0, 0]), rho) == pytest.approx(expected, abs=2e-5)


def test_latent_correlation_gives_the_correlation_asked_for():
    rng = np.random.default_rng(1)
    codes, risk = np.repeat(np.arange(40), 3), rng.uniform(0.02, 0.3, 120)
    rho = latent_correlation(risk, codes, 0.15)
    assert mean_correlation(risk, codes, rho) == pytest.approx(0.15, abs=1e-6)
    assert rho > 0.15  # scores must be more alike than the rare events they make
    assert latent_correlation(risk, codes, -0.1) == 0


def test_simulated_perforations_have_the_fitted_risks_and_correlation(cases):
    """One study of 30,000 patients: coefficients and alpha come back, within four of their own standard errors."""
    study = simulated_from(cases, "approach[guided]", TERMS)
    x, event, patient = study_drawn(study, 30_000, np.random.default_rng(5))
    assert event.mean() == pytest.approx(study.risk.mean(), abs=4 * np.sqrt(0.25 / 30_000))
    model = logistic_gee(x, event, patient)
    fitted = fit_perforation_gee(cases, TERMS).rows.query("method == 'sandwich'")["estimate"].to_numpy()
    assert np.abs((model.coefficients - fitted) / model.std_error).max() < 4
    n_pairs = (np.bincount(patient) * (np.bincount(patient) - 1) / 2).sum()
    # A pair's product of residuals has a standard deviation of about 1 + its own skewness; 2 is on the safe side.
    assert study.alpha > 0.05
    assert model.alpha == pytest.approx(study.alpha, abs=4 * 2 / np.sqrt(n_pairs))


def test_patients_are_drawn_with_all_their_sites(cases):
    study = simulated_from(cases, "rbh_mid_mm", TERMS)
    own = {tuple(map(tuple, study.x[a : a + n])) for a, n in zip(study.first, study.size, strict=True)}
    x, event, patient = study_drawn(study, 40, np.random.default_rng(6))
    assert len(event) == len(patient) == len(x)
    for one in range(40):
        assert tuple(map(tuple, x[patient == one])) in own


def test_a_replicate_does_not_depend_on_its_chunk(cases):
    study = simulated_from(cases)
    whole = half_widths(study, 60, seed=1, first=0, n=12)
    parts = [half_widths(study, 60, seed=1, first=first, n=n) for first, n in ((0, 5), (5, 3), (8, 4))]
    assert np.array_equal(whole, np.concatenate(parts))
    assert len(np.unique(whole)) > 1


# ── the answer ────────────────────────────────────────────────────────────────────────────────────


def test_independent_sites_need_what_the_textbook_says():
    """One site a patient: n = z² p (1 - p) / w², p = 0.3, w = 0.04: 504 (e.g. Fleiss 1981, section 2.6, from memory).

    The logit interval is a little shorter than Wald's there: 1 % is allowed for, beside the Monte Carlo error.
    """
    answer = sample_size(simulated_from(one_site_each(200, 60)), within=0.04, seed=1, simulations=300)
    expected = Z**2 * 0.3 * 0.7 / 0.04**2
    assert answer.n_patients == pytest.approx(expected, rel=0.01, abs=4 * answer.monte_carlo_error)
    assert 0.35 < answer.share_within < 0.65
    assert answer.n_patients < answer.n_patients_sure < 1.2 * expected


def test_half_width_of_the_answer_is_the_one_asked_for(cases):
    """Simulated anew with another seed, within four Monte Carlo standard errors of both."""
    study = simulated_from(cases, "approach[guided]", TERMS)
    answer = sample_size(study, within=0.5, seed=1, simulations=200)
    again = half_widths(study, answer.n_patients, seed=2, first=0, n=200)
    error = np.nanstd(again) / np.sqrt(200)
    assert np.nanmean(again) == pytest.approx(0.5, abs=4 * np.sqrt(2) * error)
    sure = half_widths(study, answer.n_patients_sure, seed=2, first=0, n=200)
    assert np.mean(sure <= 0.5) == pytest.approx(0.8, abs=4 * np.sqrt(2 * 0.16 / 200))


def test_own_half_width_is_that_of_results(cases):
    row = fit_perforation_rate(cases).rows.query("subset == 'all' and method == 'cluster'").iloc[0]
    study = simulated_from(cases)
    assert study.half_width == pytest.approx((row["conf_high"] - row["conf_low"]) / 2)
    assert study.rate_interval == pytest.approx((row["conf_low"], row["conf_high"]))


def test_another_rate_moves_risks_and_keeps_the_correlation(cases):
    study = simulated_from(cases, "approach[guided]", TERMS)
    moved = at_rate(study, 0.1)
    codes = np.repeat(np.arange(study.n_patients), study.size)
    assert moved.risk.mean() == pytest.approx(0.1)
    assert mean_correlation(moved.risk, codes, moved.rho) == pytest.approx(study.alpha, abs=1e-5)


def test_processes_give_the_same_answer(cases):
    study = simulated_from(cases)
    backwards = []

    def last_chunk_first(function, chunks):
        done = {chunk: function(chunk) for chunk in reversed(chunks)}
        backwards.append(len(done))
        return (done[chunk] for chunk in chunks)

    told = []
    plain = sample_size(study, within=0.06, seed=3, simulations=60, told=lambda *counts: told.append(counts))
    split = sample_size(study, within=0.06, seed=3, simulations=60, side_by_side=last_chunk_first)
    assert max(backwards) > 1
    assert plain.n_patients == split.n_patients
    pd.testing.assert_frame_equal(plain.ladder, split.ladder)
    assert told[-1][0] == told[-1][1]  # what was planned is what was done


# ── what has no answer ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("n_perforated", "of", "words"),
    [
        (0, "rate", "no site perforated.*one-sided bound"),
        (20, "rate", "perforated"),
        (5, "approach[guided]", "no such column|no such term"),
    ],
)
def test_no_answer_is_said_in_words(n_perforated, of, words):
    with pytest.raises(NotFitted, match=words):
        simulated_from(one_site_each(20, n_perforated), of, ["approach"])


def test_too_narrow_an_interval_is_refused():
    with pytest.raises(NotFitted, match="more than 20,000 patients"):
        sample_size(simulated_from(one_site_each(200, 60)), within=0.0005, seed=1, simulations=5)


def test_rare_perforations_are_counted_and_warned_of():
    """Two of 60 perforated; in studies of 20 patients half or so have none: (1 - 1/30)^20 = 0.51."""
    study = simulated_from(one_site_each(60, 2))
    assert any("2 perforations only" in caution for caution in study.cautions)
    missing = np.isnan(half_widths(study, 20, seed=1, first=0, n=300)).mean()
    assert missing == pytest.approx((1 - 1 / 30) ** 20, abs=4 * np.sqrt(0.25 / 300))
