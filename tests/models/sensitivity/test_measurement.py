"""How near the drilling came to the plan, and how alike sites and visits are."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases, invented_visits
from scipy.special import chdtri, stdtrit

from liftseries.base.remarks import names_in
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.variance_components import icc_jackknife, one_way
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias
from liftseries.models.sensitivity.icc import OF_PATIENT, OF_SITE, fit_measurement_icc


def depths(patient, error_mm, planned_mm=8.0):
    planned_mm = np.broadcast_to(planned_mm, np.shape(error_mm))
    return pd.DataFrame(
        {"patient_id": patient, "achieved_last_mm": planned_mm + error_mm, "planned_last_mm": planned_mm}
    )


# --- depth.agreement ------------------------------------------------------


def test_limits_of_one_site_each_join_t_and_chi_squared():
    """The bias has t's limits, the SD those of chi-squared, and a limit's error is both at right angles."""
    error = np.array([-0.6, -0.1, 0.0, 0.2, 0.3, 0.9])
    rows = fit_depth_agreement(depths(range(6), error)).rows.query("method == 'reml'").set_index("term")
    sd, of_bias = error.std(ddof=1), stdtrit(5, 0.975) * error.std(ddof=1) / np.sqrt(6)
    smallest, largest = (1.96 * sd * np.sqrt(5 / chdtri(5, p)) for p in (0.025, 0.975))
    high = error.mean() + 1.96 * sd
    assert rows.loc["high", "conf_high"] == pytest.approx(high + np.hypot(of_bias, largest - 1.96 * sd), rel=1e-6)
    assert rows.loc["high", "conf_low"] == pytest.approx(high - np.hypot(of_bias, 1.96 * sd - smallest), rel=1e-6)


def test_limits_are_less_sure_outwards_and_turn_round_with_the_errors():
    cases = invented_cases(n_patients=20, seed=3)
    error = (cases["achieved_last_mm"] - cases["planned_last_mm"]).to_numpy()
    here, there = (
        fit_depth_agreement(depths(cases["patient_id"], e)).rows.query("method == 'reml'").set_index("term")
        for e in (error, -error)
    )
    for term in ("low", "high"):
        row = here.loc[term]
        below, above = row["estimate"] - row["conf_low"], row["conf_high"] - row["estimate"]
        assert (below > above) == (term == "low")
    low, high = here.loc["low", ["conf_low", "conf_high"]], there.loc["high", ["conf_high", "conf_low"]]
    np.testing.assert_allclose(low.to_numpy(float), -high.to_numpy(float))


def test_limits_have_an_interval_though_no_variance_between_patients_is_seen():
    """Each of 20 patients 1 mm too deep and 1 mm too shallow: the SD rests on the 20 differences within them."""
    error = np.tile([-1.0, 1.0], 20) + np.linspace(0, 0.01, 40)
    rows = fit_depth_agreement(depths(np.repeat(range(20), 2), error)).rows.query("method == 'reml'").set_index("term")
    assert "variance_between_patients_zero" in names_in(rows.loc["low", "note"])
    bias, high = rows.loc["bias"], rows.loc["high"]
    half = high["estimate"] - bias["estimate"]
    outwards = np.hypot(bias["conf_high"] - bias["estimate"], half * (np.sqrt(20 / chdtri(20, 0.975)) - 1))
    assert high["conf_high"] - high["estimate"] == pytest.approx(outwards, rel=1e-4)


# --- depth.proportional_bias ----------------------------------------------


def test_scatter_of_the_achieved_depth_alone_does_not_tilt_the_line():
    """Errors of ± 1 mm at every planned depth alike: slope 0 on the planned depth, 1 / 4 on the mean of both.

    Planned 6 and 10 mm: the mean of both scatters by 4 + 1 / 4 mm², and 1 / 2 mm² of it goes with the error.
    """
    planned, error = np.repeat([6.0, 10.0], 20), np.tile([-1.0, 1.0], 20)
    rows = fit_depth_proportional_bias(depths(range(40), error, planned)).rows.set_index("term")
    assert rows.loc["planned_last_mm", "estimate"] == pytest.approx(0, abs=1e-12)
    mean = planned + error / 2
    assert np.polyfit(mean, error, 1)[0] == pytest.approx(0.5 / 4.25)


def test_an_error_of_a_tenth_of_the_depth_is_found():
    rng = np.random.default_rng(8)
    planned = rng.uniform(4, 12, 120)
    error = 0.1 * planned - 0.5 + rng.normal(0, 0.2, 120) + rng.normal(0, 0.2, 40).repeat(3)
    estimates = fit_depth_proportional_bias(depths(np.repeat(range(40), 3), error, planned))
    rows = estimates.rows.set_index("term")
    for term, truth in (("(intercept)", -0.5), ("planned_last_mm", 0.1)):
        assert rows.loc[term, "conf_low"] < truth < rows.loc[term, "conf_high"]
    assert rows["df"].eq(38).all()
    assert estimates.design_effects["term"].tolist() == [f"depth.proportional_bias {term}" for term in rows.index]


@pytest.mark.parametrize(
    ("cases", "words"),
    [
        (depths([1, 2], [np.nan, np.nan]), "no site has both"),
        (depths([1, 2, 3, 4], [0.1, 0.2, 0.4, 0.3]), "planned_last_mm does not vary"),
        (depths([1, 2], [0.1, 0.2], [7.0, 8.0]), "too few patients"),
    ],
)
def test_an_error_along_the_depth_that_cannot_be_had(cases, words):
    rows = fit_depth_proportional_bias(cases).rows
    assert "planned_last_mm" in rows["term"].tolist()
    assert rows["estimate"].isna().all()
    assert rows["problem"].str.contains(words).any()


# --- measurement.icc ------------------------------------------------------


def test_limits_in_groups_of_unlike_size_come_from_weighted_means():
    """What defines them: at a limit Σ w (mean - m)² / (K - 1) / MSW is F's quantile (Wald 1940)."""
    from scipy.stats import f as f_law

    rng = np.random.default_rng(2)
    size = np.array([1, 1, 2, 2, 3, 5, 8])
    patient = np.repeat(range(7), size)
    y = rng.normal(0, 1, 7)[patient] + rng.normal(0, 0.5, size.sum())
    parts = one_way(y, patient)
    mean = np.array([y[patient == p].mean() for p in range(7)])
    for icc, p in zip(parts.f_interval(), (0.975, 0.025), strict=True):
        assert icc > 0
        weight = size / (1 + size * icc / (1 - icc))
        centre = (weight * mean).sum() / weight.sum()
        statistic = (weight * (mean - centre) ** 2).sum() / 6 / parts.within
        assert f_law.cdf(statistic, 6, size.sum() - 7) == pytest.approx(p, rel=1e-8)


@pytest.mark.parametrize("shift", [-1e-6, 1e-6])
def test_limits_pass_through_zero_without_a_jump(shift):
    """Where the mean squares' ratio is just F's quantile, the limit is 0 from either side."""
    from scipy.stats import f as f_law

    rng = np.random.default_rng(5)
    patient = np.repeat(range(12), [1] * 4 + [2] * 4 + [4] * 4)
    y = rng.normal(0, 1, len(patient)) + rng.normal(0, 2, 12)[patient]
    parts = one_way(y, patient)
    mean = np.bincount(patient, weights=y) / np.bincount(patient)
    quantile = f_law.ppf(0.975, 11, len(y) - 12) * (1 + shift)
    # Group means drawn together until the ratio is the quantile; what lies within groups stays.
    stretch = np.sqrt(quantile * parts.within / parts.between)
    moved = y.mean() + stretch * (mean - y.mean())
    low, _ = one_way(y - mean[patient] + moved[patient], patient).f_interval()
    assert low == pytest.approx(0, abs=2e-6)
    assert np.sign(low) == np.sign(shift)


def test_a_correlation_stays_above_the_least_there_can_be():
    """Pairs that differ more than patients do; with few of them the mean squares would give less than -1."""
    patient = np.r_[np.arange(10), 0, 1]
    y = np.r_[np.zeros(10), 5.0, -5.0] + np.linspace(0, 0.1, 12)
    parts = one_way(y, patient)
    assert (parts.between - parts.within) / (parts.between + (parts.size - 1) * parts.within) < -1
    assert parts.icc == -1
    assert parts.f_interval()[0] == -1


def test_one_patient_with_two_sites_is_none_to_leave_out():
    with pytest.raises(NotFitted, match="only one patient has two sites"):
        icc_jackknife(np.array([0, 1, 0, 1, 1.0]), [1, 1, 2, 3, 4])


@pytest.mark.parametrize("n_patients", [2, 5, 12, 30])
@pytest.mark.parametrize("seed", range(8))
def test_correlations_are_correlations(n_patients, seed):
    """Also where only one or two patients have several sites."""
    cases = invented_cases(n_patients, seed)
    chosen = ~cases["patient_id"].duplicated() | (np.arange(len(cases)) % 7 == seed % 7)
    cases = cases[chosen].reset_index(drop=True)
    rows = fit_measurement_icc(cases, invented_visits(cases, seed)).rows
    assert rows["term"].tolist() == ["rbh_mid_mm", "last_error_mm", "gain_mm", "perforation", "gain_mm", "gain_mm"]
    assert (rows["conf_low"].notna() | rows["problem"].ne("")).all()
    told = rows[rows["conf_low"].notna()]
    assert (told[["estimate", "conf_low", "conf_high"]].abs() <= 1).all(axis=None)
    assert told["estimate"].between(told["conf_low"], told["conf_high"]).all()
    assert not (rows["std_error"] <= 0).any()


def test_few_perforations_are_said_to_be_few():
    """In simulated series of under ten perforations the jackknife holds the truth only 83-88 times in 100."""
    cases = invented_cases(60, seed=1)
    rare = cases.assign(perforation=np.where(np.arange(len(cases)) % 20 == 0, "yes", "no"))
    for table, told in ((rare, True), (cases, False)):
        rows = fit_measurement_icc(table, invented_visits(table, 1)).rows.set_index("term")
        assert ("few_events" in names_in(rows.loc["perforation", "note"])) is told


def test_visits_of_a_site_are_more_alike_than_sites_of_a_patient():
    """Patient, site and visit SD 0.6, 0.4 and 0.4 mm: 0.36 / 0.68 and 0.52 / 0.68 (invented.py)."""
    cases = invented_cases(200, seed=4)
    rows = fit_measurement_icc(cases, invented_visits(cases, 4)).rows
    of_visits = rows[rows["method"].isin([OF_PATIENT, OF_SITE])]
    for (_, row), truth in zip(of_visits.iterrows(), (0.36 / 0.68, 0.52 / 0.68), strict=True):
        assert row["conf_low"] < truth < row["conf_high"]


@pytest.mark.parametrize(
    ("keep", "words"),
    [
        (lambda cases, visits: visits[~visits["site_id"].duplicated()], "no site has two visits"),
        (lambda cases, visits: visits[visits["site_id"].isin(one_site_each(cases))], "no patient has two sites"),
        (lambda cases, visits: visits.iloc[:0], "no visit has a bone height"),
    ],
)
def test_a_gain_whose_levels_cannot_be_told_apart(keep, words):
    cases = invented_cases(40, seed=4)
    rows = fit_measurement_icc(cases, keep(cases, invented_visits(cases, 4))).rows
    of_visits = rows[rows["method"].isin([OF_PATIENT, OF_SITE])]
    assert of_visits["estimate"].isna().all()
    assert of_visits["problem"].str.contains(words).all()


def one_site_each(cases):
    return cases.loc[~cases["patient_id"].duplicated(), "site_id"]
