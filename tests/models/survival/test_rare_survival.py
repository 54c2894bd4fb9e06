"""Survival questions beside the curve: months in function, first failures, gain at the landmark, hazards over time."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases, invented_visits

from liftseries.estimators.aalen_johansen import aalen_johansen
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.rmst import restricted_mean
from liftseries.estimators.weibull import weibull_interval
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.gain import fit_survival_gain
from liftseries.models.survival.interval import fit_survival_interval
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.patient import fit_survival_patient
from liftseries.models.survival.ph import fit_survival_ph
from liftseries.models.survival.rmst import fit_survival_rmst

MONTHS = [12, 36, 60]


@pytest.fixture(scope="module")
def implants(many_visits, many_cases):
    return follow_up(many_visits, many_cases).implants


def jackknife(statistic, patient):
    """Standard error from leaving one patient out after the other, of a statistic of the rows kept."""
    found = np.array([statistic(patient != p) for p in pd.unique(patient)])
    return np.sqrt((len(found) - 1) / len(found) * ((found - found.mean(axis=0)) ** 2).sum(axis=0))


# --- months in function --------------------------------------------------------------


def test_months_in_function_by_hand():
    """Failures at 6 and 18, two still standing at 24: area to 24 = 6 + 12 x 3/4 + 6 x 1/2 = 18."""
    months, failed = np.array([6.0, 18, 24, 24]), np.array([True, True, False, False])
    assert restricted_mean(months, failed, 24).months == pytest.approx(18)
    assert restricted_mean(months, failed, 5).months == 5
    assert (restricted_mean(months, failed, 5).influence == 0).all()


def test_standard_error_of_months_is_that_of_leaving_patients_out(implants):
    """Infinitesimal and plain jackknife agree to the order of 1 / patients."""
    row = fit_survival_rmst(implants, [36]).rows.iloc[0]
    patient = implants["patient_id"].to_numpy()
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    se = jackknife(lambda kept: restricted_mean(months[kept], failed[kept], 36).months, patient)
    assert row["std_error"] == pytest.approx(se, rel=0.02)


def test_difference_knows_that_patients_have_both(implants):
    rows = fit_survival_rmst(implants, [36], ["approach"]).rows.query("method == 'infinitesimal_jackknife'")
    rows = rows.set_index(["analysis", "subset"]).sort_index()
    difference = rows.loc[("survival.rmst_difference", "approach=guided")]
    guided, freehand = (rows.loc[("survival.rmst", f"approach={level}")] for level in ("guided", "freehand"))
    assert difference["estimate"] == pytest.approx(guided["estimate"] - freehand["estimate"])
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    of_guided = implants["approach"].eq("guided").to_numpy()

    def apart(kept):
        one, other = (restricted_mean(months[kept & g], failed[kept & g], 36).months for g in (of_guided, ~of_guided))
        return one - other

    assert difference["std_error"] == pytest.approx(jackknife(apart, implants["patient_id"].to_numpy()), rel=0.02)
    assert "compared with approach = freehand" in difference["note"]


def test_interval_of_months_stays_below_the_horizon():
    implants = pd.DataFrame({"patient_id": range(9), "months": [30.0] + [40.0] * 8, "failed": [True] + [False] * 8})
    row = fit_survival_rmst(implants, [36]).rows.iloc[0]
    assert row["conf_low"] < row["estimate"] < row["conf_high"] < 36


# --- competing risks -------------------------------------------------------------------


def test_incidences_and_survival_add_up_to_one(implants):
    rng = np.random.default_rng(2)
    died = ~implants["failed"].to_numpy(bool) & (rng.random(len(implants)) < 0.3)
    months, failed = implants["months"].to_numpy(float), implants["failed"].to_numpy(bool)
    curve = aalen_johansen(months, failed, died, implants["patient_id"])
    free = kaplan_meier(months, failed | died, implants["patient_id"])
    np.testing.assert_allclose(curve.failure + curve.death + free.survival, 1, atol=1e-12)


def test_without_deaths_the_incidence_is_one_less_survival(implants):
    alive = implants.assign(died=False)
    incidence = fit_survival_competing(alive, MONTHS, ["approach"]).rows
    survival = fit_survival_km(alive, MONTHS, ["approach"]).rows
    np.testing.assert_allclose(incidence["estimate"], 1 - survival["estimate"], rtol=1e-12)
    np.testing.assert_allclose(incidence["std_error"], survival["std_error"], rtol=1e-9)
    np.testing.assert_allclose(incidence["conf_low"], 1 - survival["conf_high"], rtol=1e-9)


def test_clustered_variance_is_that_of_whole_patients_slowly(implants):
    """Each implant's influence from the definition, a row an implant and a column a time, summed within patients."""
    rng = np.random.default_rng(3)
    status = np.where(implants["failed"], 1, np.where(rng.random(len(implants)) < 0.3, 2, 0))
    t = implants["months"].to_numpy(float)
    u = np.unique(t[status > 0])
    at_risk = (t[:, None] >= u).astype(float)
    either = (t[:, None] == u) & (status > 0)[:, None]
    failing = (t[:, None] == u) & (status == 1)[:, None]
    n, d, d1 = at_risk.sum(0), either.sum(0), failing.sum(0)
    before = np.r_[1.0, np.cumprod(1 - d / n)[:-1]]
    of_free = np.cumsum((either - at_risk * d / n) / (n - d), axis=1)
    of_before = -before * np.c_[np.zeros(len(t)), of_free[:, :-1]]
    influence = np.cumsum(of_before * d1 / n + before * (failing - at_risk * d1 / n) / n, axis=1)
    sums = pd.DataFrame(influence).groupby(implants["patient_id"].to_numpy()).sum()
    curve = aalen_johansen(t, status == 1, status == 2, implants["patient_id"])
    np.testing.assert_allclose(curve.std_error, np.sqrt((sums**2).sum()), rtol=1e-9)


# --- first failure a patient, landmark, intervals, hazards over time -----------------------------


def test_a_patient_counts_once_and_fails_first():
    """p: 12 failed and 30; q: 20 and 40 standing, so followed to 20; r: failed at 50 only."""
    implants = pd.DataFrame(
        {
            "patient_id": ["p", "p", "q", "q", "r"],
            "months": [30.0, 12.0, 20.0, 40.0, 50.0],
            "failed": [False, True, False, False, True],
        }
    )
    rows = fit_survival_patient(implants, [12, 40]).rows
    assert rows["estimate"].tolist() == pytest.approx([2 / 3, 2 / 3])
    assert rows[["n_sites", "n_patients", "n_events"]].iloc[0].tolist() == [5, 3, 2]


def test_gain_enters_only_after_the_landmark(many_cases, many_visits, implants):
    """A failure by the landmark, or a gain measured after it, changes nothing but the counts."""
    asked = implants, many_cases, ["rbh_mid_mm"], 12.0
    before = fit_survival_gain(many_visits, *asked)
    later = many_visits.assign(
        bone_height_mm=many_visits["bone_height_mm"].where(
            many_visits["months"] <= 12, many_visits["bone_height_mm"] + 9
        )
    )
    pd.testing.assert_frame_equal(before.rows, fit_survival_gain(later, *asked).rows)
    left_out = before.left_out.set_index("reason")["n_sites"]
    early = implants[implants["months"] <= 12]
    assert left_out["failed by the landmark"] == early["failed"].sum()
    assert left_out["not followed beyond the landmark"] == (~early["failed"]).sum()
    assert before.rows.query("method == 'sandwich'")["term"].tolist() == ["gain_mm", "rbh_mid_mm"]
    assert before.rows["n_sites"].iloc[0] == (implants["months"] > 12).sum()


def test_gain_that_protects_only_by_hindsight_does_not_protect():
    """Gain rises with time and has nothing to do with failure.

    The last gain of all seems to protect, being measured later in those that lasted; at the landmark it does not.
    """
    cases = invented_cases(400, seed=41)
    visits = invented_visits(cases, seed=42)
    visits["bone_height_mm"] += visits["months"] / 12
    implants = follow_up(visits, cases).implants
    from liftseries.models.shared.outcomes import gain_at_visits
    from liftseries.models.survival.cox import fit_survival_cox

    last = gain_at_visits(visits, cases).groupby("site_id")["gain_mm"].last()
    naive = fit_survival_cox(implants.assign(gain_mm=implants["site_id"].map(last)), ["gain_mm"]).rows.iloc[0]
    landmark = fit_survival_gain(visits, implants, cases, [], 12.0).rows
    (quoted,) = landmark[landmark["headline"]].to_dict("records")
    assert naive["conf_high"] < 0
    assert quoted["method"] == "profile_or_jackknife"
    assert quoted["conf_low"] < 0 < quoted["conf_high"]


def test_weibull_finds_what_it_was_drawn_from():
    """Times of 3,000 patients cut to visits; the estimates lie within 2.6 of their standard errors."""
    rng = np.random.default_rng(6)
    x = np.column_stack([np.ones(3000), rng.normal(0, 1, 3000)])
    shape = 1.4
    time = np.exp(x @ [4.0, 0.5]) * rng.exponential(1, 3000) ** (1 / shape)
    visits = np.array([0, 6, 12, 24, 36, 60, np.inf])
    found = np.searchsorted(visits, time, side="left")
    fit = weibull_interval(visits[found - 1], visits[found], x, np.arange(3000))
    apart = (fit.parameters - np.array([4.0, 0.5, np.log(shape)])) / fit.std_error
    assert np.abs(apart).max() < 2.6
    np.testing.assert_allclose(fit.std_error, fit.naive_std_error, rtol=0.1)


def test_survival_of_the_model_is_that_of_lifelines(implants):
    """lifelines' interval-censored Weibull stops its search early: coefficients agree to about 1e-4 of each other."""
    import lifelines

    from liftseries.models.shared.follow_up import failure_intervals

    left, right = failure_intervals(implants)
    tells = (left > 0) | np.isfinite(right)
    right = np.where(right == 0, 0.5, right)
    table = pd.DataFrame({"left": left, "right": right, "rbh_mid_mm": implants["rbh_mid_mm"].to_numpy(float)})[tells]
    theirs = lifelines.WeibullAFTFitter().fit_interval_censoring(table, "left", "right").params_
    ours = fit_survival_interval(implants, ["rbh_mid_mm"], MONTHS).rows.set_index("term")["estimate"]
    assert ours["(intercept)"] == pytest.approx(theirs[("lambda_", "Intercept")], rel=2e-3)
    assert ours["rbh_mid_mm"] == pytest.approx(theirs[("lambda_", "rbh_mid_mm")], rel=2e-3)
    assert ours["(log shape)"] == pytest.approx(theirs[("rho_", "Intercept")], rel=2e-3)


def test_a_hazard_ratio_that_turns_is_found():
    """A term that speeds early failures and spares late ones: the tests see it, and the smooth line falls."""
    rng = np.random.default_rng(9)
    n = 1200
    smoking = rng.random(n) < 0.5
    early = rng.exponential(np.where(smoking, 10, 40))
    late = 12 + rng.exponential(np.where(smoking, 90, 25))
    months = np.minimum(np.where(early < 12, early, late), 60)
    implants = pd.DataFrame(
        {"patient_id": np.arange(n) // 2, "months": months, "failed": months < 60, "smoking": smoking.astype(float)}
    )
    estimates = fit_survival_ph(implants, ["smoking"])
    assert (estimates.rows["p_value"] < 1e-6).all()
    assert estimates.rows["df"].eq(1).all()
    smooth = estimates.residuals["smooth"].to_numpy()
    assert smooth[0] > estimates.residuals["coefficient"].iloc[0] > smooth[-1]


def test_a_term_of_three_levels_is_tested_as_one(implants):
    rows = fit_survival_ph(implants, ["rbh_mid_mm", "smoking"]).rows
    assert rows["term"].tolist() == ["rbh_mid_mm", "smoking", "GLOBAL"] * 2
    assert rows["df"].tolist() == [1, 2, 3] * 2
