"""Each question of the plan: tidy rows where there is an answer, a problem in words where there is none."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import invented_cases, invented_visits

from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.results import RESULT_COLUMNS
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.life_table import fit_survival_life_table

BY = ["rbh_band", "approach", "protocol", "centre"]


@pytest.fixture(scope="module")
def implants(many_visits, many_cases):
    return follow_up(many_visits, many_cases).implants


@pytest.fixture(scope="module")
def every_question(many_cases, many_visits, implants):
    return [
        fit_perforation_rate(many_cases, BY),
        fit_perforation_gee(many_cases, ["rbh_mid_mm", "approach"]),
        fit_survival_km(implants, [12, 36, 60], ["rbh_band"]),
        fit_survival_life_table(implants),
        fit_survival_cox(implants, ["rbh_mid_mm", "smoking"]),
        fit_gain_mixed(many_visits, many_cases, ["protrusion_mm", "graft", "months"]),
        fit_depth_agreement(many_cases),
    ]


def all_empty_with(rows, *words):
    """Every row has no estimate and a problem with these words."""
    return rows["estimate"].isna().all() and all(rows["problem"].str.contains(word).all() for word in words)


def test_rows_are_tidy_and_complete(every_question):
    for estimates in every_question:
        rows = estimates.rows
        assert tuple(rows.columns) == RESULT_COLUMNS
        assert (rows["estimate"].notna() | rows["problem"].ne("")).all()
        assert rows[["analysis", "subset", "term", "scale", "method"]].ne("").all(axis=None)
        interval = rows[rows["conf_low"].notna()]
        assert (interval["conf_low"] <= interval["estimate"]).all()
        assert (interval["estimate"] <= interval["conf_high"]).all()
        assert interval["conf_level"].eq(0.95).all()
        assert estimates.left_out.columns.tolist() == ["analysis", "subset", "reason", "n_sites"]


def test_only_coefficients_have_a_p_value(every_question):
    with_p = {name for e in every_question for name in e.rows.loc[e.rows["p_value"].notna(), "analysis"]}
    assert with_p == {"perforation.gee", "survival.cox", "gain.mixed", "depth.agreement"}
    depth = every_question[-1].rows
    assert set(depth.loc[depth["p_value"].notna(), "term"]) == {"bias"}


def test_the_order_of_the_sites_changes_nothing(many_cases, every_question):
    shuffled = many_cases.sample(frac=1, random_state=1)
    for before, after in (
        (every_question[0], fit_perforation_rate(shuffled, BY)),
        (every_question[1], fit_perforation_gee(shuffled, ["rbh_mid_mm", "approach"])),
        (every_question[6], fit_depth_agreement(shuffled)),
    ):
        pd.testing.assert_frame_equal(before.rows, after.rows, rtol=1e-7)


# --- perforation.rate -----------------------------------------------------


def test_unknown_is_left_out_and_counted(one_site_each):
    cases = one_site_each(
        perforation=["yes", "no", "unknown", None], approach=["guided", "guided", "guided", "freehand"]
    )
    estimates = fit_perforation_rate(cases, ["approach"])
    rows = estimates.rows.set_index(["subset", "method"])
    assert rows.loc[("all", "wilson"), ["estimate", "n_sites", "n_events"]].tolist() == [0.5, 2, 1]
    assert rows.loc["approach=freehand", "problem"].str.contains("recorded").all()
    left_out = estimates.left_out.set_index("subset")["n_sites"].to_dict()
    assert left_out == {"all": 2, "approach=guided": 1, "approach=freehand": 1}


def test_a_site_in_no_band_is_counted(one_site_each):
    cases = one_site_each(perforation=["yes", "no"], smoking=["never", "unknown"])
    left_out = fit_perforation_rate(cases, ["smoking"]).left_out
    assert left_out.to_numpy().tolist() == [["perforation.rate", "smoking", "smoking unknown", 1]]


@pytest.mark.parametrize(("outcome", "limit", "value"), [("no", "conf_low", 0.0), ("yes", "conf_high", 1.0)])
def test_no_or_only_perforations_have_no_clustered_interval(one_site_each, outcome, limit, value):
    rows = fit_perforation_rate(one_site_each(perforation=[outcome] * 8)).rows.set_index("method")
    assert rows.loc["wilson", limit] == value
    assert rows.loc["exact", limit] == value
    assert np.isnan(rows.loc["cluster", "estimate"])
    assert "perforated" in rows.loc["cluster", "problem"]


def test_one_patient_has_no_clustered_interval(one_site_each):
    cases = one_site_each(perforation=["yes", "no", "no"]).assign(patient_id="P0")
    cluster = fit_perforation_rate(cases).rows.set_index("method").loc["cluster"]
    assert np.isnan(cluster["estimate"])
    assert "too few" in cluster["problem"]


def test_patients_who_cancel_out_have_no_standard_error(one_site_each):
    """Each patient has one site of two perforated: the patients' sums show no scatter at all."""
    cases = one_site_each(perforation=["yes", "no"] * 6).assign(patient_id=np.repeat(range(6), 2))
    cluster = fit_perforation_rate(cases).rows.set_index("method").loc["cluster"]
    assert np.isnan(cluster["estimate"])
    assert "standard error is zero" in cluster["problem"]


# --- perforation.gee ------------------------------------------------------


def gee_by_method(cases, terms):
    """The rows of `sandwich` and of `corrected`, by term."""
    rows = fit_perforation_gee(cases, terms).rows.set_index("term")
    return [rows[rows["method"].eq(method)] for method in ("sandwich", "corrected")]


def test_few_patients_get_t_and_many_the_normal(few_cases, many_cases):
    robust, few = gee_by_method(few_cases, ["rbh_mid_mm"])
    many, corrected = gee_by_method(many_cases, ["rbh_mid_mm"])
    assert few["df"].tolist() == [28, 28]
    assert few["note"].str.startswith("t(K - p)").all()
    assert pd.concat([robust, many, corrected])["df"].isna().all()
    assert many["note"].eq("").all()
    assert corrected["note"].str.contains("the report quotes perforation.firth").all()
    ratio = (many["conf_high"] - many["estimate"]) / many["std_error"]
    np.testing.assert_allclose(ratio, 1.959964, atol=1e-6)


@pytest.mark.parametrize(("outcome", "which"), [("no", "no site"), ("yes", "every site")])
def test_a_level_without_contrast_stops_the_model(many_cases, outcome, which):
    cases = many_cases.copy()
    cases.loc[cases["approach"] == "guided", "perforation"] = outcome
    rows = fit_perforation_gee(cases, ["rbh_mid_mm", "approach"]).rows
    assert rows["term"].tolist() == ["(intercept)", "rbh_mid_mm", "approach[guided]"] * 2
    assert all_empty_with(rows, f"{which} with approach = guided was perforated")


def test_no_perforation_at_all(many_cases):
    rows = fit_perforation_gee(many_cases.assign(perforation="no"), ["rbh_mid_mm"]).rows
    assert all_empty_with(rows, "no site used was perforated")


def test_a_height_that_tells_perforations_apart(many_cases):
    perforation = np.where(many_cases["rbh_mid_mm"] < 4, "yes", "no")
    rows = fit_perforation_gee(many_cases.assign(perforation=perforation), ["rbh_mid_mm"]).rows
    assert all_empty_with(rows, "rbh_mid_mm tells perforated sites from the others without overlap")


def test_a_constant_term_has_its_own_row_and_the_rest_is_fitted(many_cases):
    cases = many_cases.assign(isq=70.0)
    for rows, alone in zip(
        gee_by_method(cases, ["rbh_mid_mm", "isq"]), gee_by_method(many_cases, ["rbh_mid_mm"]), strict=True
    ):
        assert "does not vary" in rows.loc["isq", "problem"]
        assert rows.loc["rbh_mid_mm", "estimate"] == pytest.approx(alone.loc["rbh_mid_mm", "estimate"])


def test_more_coefficients_than_patients(many_cases):
    few = many_cases[many_cases["patient_id"].isin(many_cases["patient_id"].unique()[:3])]
    few = few.assign(perforation=np.where(np.arange(len(few)) % 2, "yes", "no"))
    rows = fit_perforation_gee(few, ["rbh_mid_mm", "protrusion_mm", "age_years"]).rows
    assert rows["estimate"].isna().all()
    assert rows["problem"].ne("").all()


def test_an_absent_reference_is_said_in_the_note(many_cases):
    cases = many_cases[many_cases["smoking"] != "never"]
    rows = fit_perforation_gee(cases, ["smoking"]).rows
    assert rows["term"].tolist() == ["(intercept)", "smoking[current]"] * 2
    assert rows["note"].str.contains("smoking against former, as no complete case is never").all()


def test_a_year_makes_a_strange_intercept_that_is_remarked_on(many_cases):
    """The odds in the year 0 are of no use, but the slope is the same as from 2000 on."""
    year = 2015 + np.arange(len(many_cases)) % 7
    rows, _ = gee_by_method(many_cases.assign(surgery_year=year), ["surgery_year"])
    since, _ = gee_by_method(many_cases.assign(surgery_year=year - 2000), ["surgery_year"])
    slope = "surgery_year"
    assert rows.loc[slope, "estimate"] == pytest.approx(since.loc[slope, "estimate"], rel=1e-7)
    assert rows.loc[slope, "problem"] == ""
    assert abs(rows.loc["(intercept)", "estimate"]) > 15
    assert "every term is 0" in rows.loc["(intercept)", "problem"]


def test_missing_terms_are_counted_after_unknown_outcomes(many_cases):
    cases = many_cases.reset_index(drop=True)
    cases.loc[:1, "perforation"] = "unknown"
    cases.loc[1:4, "rbh_mid_mm"] = np.nan
    estimates = fit_perforation_gee(cases, ["rbh_mid_mm"])
    assert estimates.left_out[["reason", "n_sites"]].to_numpy().tolist() == [
        ["perforation unknown", 2],
        ["rbh_mid_mm missing", 3],
    ]
    assert estimates.rows["n_sites"].eq(len(cases) - 5).all()


# --- survival -------------------------------------------------------------


def invented_implants(months, failed, patient=None):
    patient = range(len(months)) if patient is None else patient
    return pd.DataFrame({"patient_id": list(patient), "months": np.array(months, float), "failed": failed})


def test_survival_beyond_the_last_follow_up_and_before_the_first_failure():
    rows = fit_survival_km(invented_implants([24, 30, 40], [True, False, False]), [12, 36, 60]).rows
    assert rows["term"].tolist() == ["12", "12", "36", "36", "60", "60"]
    rows = rows[rows["method"].eq("infinitesimal_jackknife")].set_index("term")
    assert rows.loc["12", "estimate"] == 1
    assert "without a failure" in rows.loc["12", "problem"]
    assert rows.loc["36", "estimate"] == pytest.approx(2 / 3)
    assert rows.loc["36", "problem"] == ""
    assert np.isnan(rows.loc["60", "estimate"])
    assert rows.loc["60", "problem"] == "the last follow-up ends at 40 months"


def test_a_curve_that_came_down_to_zero_stays_there():
    """As R's summary(survfit(...), extend = TRUE); no follow-up can bring an implant back."""
    rows = fit_survival_km(invented_implants([6, 9], [True, True]), [6, 12]).rows
    assert rows["estimate"].tolist() == [0.5, 0.5, 0, 0]
    assert rows.loc[2:, "problem"].str.contains("every implant still at risk has failed").all()


def test_without_follow_up_every_term_is_told_so(many_cases, many_visits):
    none = follow_up(many_visits.iloc[:0], many_cases).implants
    cox = fit_survival_cox(none, ["rbh_mid_mm", "smoking"]).rows
    assert cox["problem"].eq("no implant was followed").all()
    unmeasured = many_visits.assign(bone_height_mm=np.nan)
    gain = fit_gain_mixed(unmeasured, many_cases, ["protrusion_mm", "months"]).rows
    assert gain["problem"].eq("no visit has a bone height").all()


def test_a_rate_says_when_its_correlation_is_no_moment_estimate():
    """Two of each patient's four sites perforated: less alike than chance, so sites weigh as independent."""
    cases = pd.DataFrame({"patient_id": np.repeat(np.arange(20), 4), "perforation": ["yes", "yes", "no", "no"] * 20})
    cases.loc[0, "perforation"] = "no"
    cluster = fit_perforation_rate(cases).rows.set_index("method").loc["cluster"]
    assert cluster["estimate"] == pytest.approx(39 / 80)
    assert cluster["conf_low"] < cluster["estimate"] < cluster["conf_high"]
    assert "working independence" in cluster["note"]
    assert cluster["problem"] == ""


def test_all_censored_is_one_with_bounds_of_one_side_alone():
    """Three implants of two patients, 0.05^(1/2), worked by hand; beyond month 27 one patient is left."""
    implants = invented_implants([24, 30, 30], [False] * 3, ["p", "q", "q"])
    rows = fit_survival_km(implants, [12, 27]).rows
    assert rows["method"].tolist() == ["infinitesimal_jackknife", "corrected"] * 2
    assert rows["estimate"].eq(1).all()
    assert rows.loc[[0, 2, 3], "conf_low"].isna().all()
    assert rows.loc[1, ["conf_low", "conf_high"]].tolist() == pytest.approx([0.05**0.5, 1])
    assert "corrected is the bound that holds" in rows.loc[0, "problem"]
    assert rows.loc[3, "problem"] == "too few patients (1 patient) followed until then"


def test_no_perforation_leaves_a_bound_of_one_side():
    """Rule of three (Hanley and Lippman-Hand 1983): none in 100 is at most 3 %; exactly 1 - 0.05^(1/100) = 2.95 %."""
    cases = pd.DataFrame({"patient_id": np.repeat(np.arange(100), 2), "perforation": ["no"] * 200})
    rows = fit_perforation_rate(cases).rows.set_index("method")
    assert rows.index.tolist() == ["patients", "wilson", "exact", "cluster"]
    assert rows.loc["patients", "conf_high"] == pytest.approx(0.0295, abs=5e-5)
    assert rows.loc["patients", ["estimate", "conf_low"]].tolist() == [0, 0]
    assert rows.loc["patients", "headline"]
    assert rows.loc["patients", "note"] == "a bound of one side, as all sites are alike"
    assert "patients is the bound that holds" in rows.loc["cluster", "problem"]
    every = fit_perforation_rate(cases.assign(perforation="yes")).rows.set_index("method")
    assert every.loc["patients", "conf_low"] == pytest.approx(1 - 0.0295, abs=5e-5)


def test_all_failed_and_one_patient_have_no_interval():
    everyone = fit_survival_km(invented_implants([6, 12], [True, True]), [12]).rows
    assert everyone["estimate"].tolist() == [0, 0]
    assert everyone["problem"].str.contains("has failed").all()
    alone = fit_survival_km(invented_implants([6, 12, 24], [True, False, False], "AAA"), [12]).rows
    assert alone["conf_low"].isna().all()
    assert alone["problem"].str.contains("one patient|1 patient").all()


def test_nobody_followed():
    nobody = invented_implants([], np.array([], bool))
    assert all_empty_with(fit_survival_km(nobody, [12]).rows, "no implant was followed")
    assert all_empty_with(fit_survival_life_table(nobody).rows, "no implant was followed")
    assert all_empty_with(fit_survival_cox(nobody.assign(rbh_mid_mm=[]), ["rbh_mid_mm"]).rows, "followed")


def test_curves_and_numbers_at_risk(implants):
    estimates = fit_survival_km(implants, [36], ["rbh_band"])
    curve = estimates.curves[estimates.curves["subset"] == "all"]
    assert curve["months"].iloc[0] == 0
    still = (implants["months"].to_numpy() >= curve["months"].iloc[-1]).sum()
    assert still >= max(20, len(implants) / 10)
    failures = implants.loc[implants["failed"], "months"]
    assert set(failures[failures <= curve["months"].iloc[-1]]) <= set(curve["months"])
    (at_36,) = estimates.rows.query("subset == 'all' and method == 'corrected'").to_dict("records")
    on_curve = curve[curve["months"] <= 36].iloc[-1]
    assert on_curve["survival"] == at_36["estimate"]
    assert on_curve["conf_low"] == at_36["conf_low"]
    numbers = estimates.at_risk[estimates.at_risk["subset"] == "all"]
    assert numbers["months"].tolist() == [0, 12, 24, 36, 48, 60]
    assert (numbers[["n_at_risk", "n_failed", "n_censored"]].sum(axis=1) == len(implants)).all()
    bands = estimates.at_risk[estimates.at_risk["subset"] != "all"].groupby("months")["n_at_risk"].sum()
    np.testing.assert_array_equal(bands[numbers["months"]], numbers["n_at_risk"])


def test_life_table_rows_are_its_intervals(implants):
    estimates = fit_survival_life_table(implants)
    assert estimates.rows["term"].tolist() == ["0", "12", "24", "36", "48", "60"]
    assert estimates.rows["estimate"].iloc[0] == 1
    assert estimates.rows["n_sites"].tolist() == estimates.table["n_entering"].tolist()
    assert estimates.rows["n_events"].sum() == implants["failed"].sum()
    np.testing.assert_array_equal(estimates.rows["estimate"], estimates.table["survival"])


def test_a_level_without_failures_stops_the_cox_model(implants):
    implants = implants.copy()
    implants.loc[implants["smoking"] == "former", "failed"] = False
    rows = fit_survival_cox(implants, ["rbh_mid_mm", "smoking"]).rows
    assert all_empty_with(rows, "no implant with smoking = former has failed")
    assert rows["term"].tolist() == ["rbh_mid_mm", "smoking[former]", "smoking[current]"] * 2


def test_cox_without_failures_or_without_terms(implants):
    rows = fit_survival_cox(implants.assign(failed=False), ["rbh_mid_mm"]).rows
    assert all_empty_with(rows, "no implant used has failed")
    assert len(fit_survival_cox(implants, []).rows) == 0
    constant = fit_survival_cox(implants.assign(isq=70.0), ["isq"]).rows
    assert constant["term"].tolist() == ["isq"] * 2
    assert all_empty_with(constant, "does not vary")


# --- gain.mixed -----------------------------------------------------------


def of_model(estimates):
    """The mixed model's rows of gain.mixed."""
    return estimates.rows[estimates.rows["method"].ne("patients")]


def test_intercepts_that_the_data_cannot_carry_are_dropped_and_named(many_cases, many_visits):
    first_visits = many_visits.drop_duplicates("site_id")
    no_repeat = fit_gain_mixed(first_visits, many_cases, ["protrusion_mm"])
    assert of_model(no_repeat)["note"].str.contains("no site has two visits").all()
    assert no_repeat.variances["site_sd_mm"].isna().all()
    one_site = many_cases.drop_duplicates("patient_id")
    site_only = fit_gain_mixed(many_visits, one_site, ["protrusion_mm"])
    assert of_model(site_only)["note"].str.contains("no patient has two sites").all()
    assert site_only.variances["patient_sd_mm"].isna().all()
    neither = fit_gain_mixed(first_visits, one_site, ["protrusion_mm"])
    assert of_model(neither)["note"].eq("no patient has two sites; no site has two visits").all()
    for estimates in (no_repeat, site_only, neither):
        rows = of_model(estimates)
        coefficients = rows["term"].isin(["(intercept)", "protrusion_mm"])
        assert rows.loc[coefficients, "estimate"].notna().all()
        assert rows.loc[~coefficients, "problem"].eq("months are no term of the model").all()


def test_gain_by_t_under_50_patients(few_cases, many_visits, many_cases):
    few = many_cases[many_cases["patient_id"].isin(many_cases["patient_id"].unique()[:20])]
    rows = of_model(fit_gain_mixed(many_visits, few, ["protrusion_mm", "months"]))
    assert rows["df"].eq(rows["n_patients"] - 3).all()
    assert rows["note"].str.endswith("t(K - p)").all()


def test_gain_counts_sites_once_under_their_first_reason(many_cases, many_visits):
    cases = many_cases.copy().reset_index(drop=True)
    cases.loc[0:2, "protrusion_mm"] = np.nan
    visits = many_visits[many_visits["site_id"] != cases.loc[5, "site_id"]]
    estimates = fit_gain_mixed(visits, cases, ["protrusion_mm"])
    reasons = estimates.left_out.set_index("reason")["n_sites"].to_dict()
    assert reasons == {"protrusion_mm missing": 3, "no visit with a bone height": 1}
    assert of_model(estimates)["n_sites"].eq(len(cases) - 4).all()


def test_no_bone_height_at_all(many_cases, many_visits):
    for visits in (many_visits.assign(bone_height_mm=np.nan), many_visits.drop(columns="bone_height_mm")):
        estimates = fit_gain_mixed(visits, many_cases, ["months"])
        assert all_empty_with(estimates.rows, "bone height|recorded")
        assert len(estimates.by_visit) == 0
        assert estimates.left_out["n_sites"].tolist() == [len(many_cases)]


# --- depth.agreement ------------------------------------------------------


def by_reml(estimates):
    return estimates.rows[estimates.rows["method"] == "reml"].set_index("term")


def test_agreement_of_hand_sized_errors():
    """Errors -1, 0, 1 mm in three patients: bias 0, SD 1, limits ± 1.96, SE of the bias 1/√3 with t(2)."""
    cases = pd.DataFrame(
        {"patient_id": [1, 2, 3], "achieved_last_mm": [5.0, 6.0, 7.0], "planned_last_mm": [6.0, 6.0, 6.0]}
    )
    rows = by_reml(fit_depth_agreement(cases))
    assert rows["estimate"].tolist() == pytest.approx([0, -1.96, 1.96], abs=1e-12)
    assert rows.loc["bias", "std_error"] == pytest.approx(1 / np.sqrt(3))
    assert rows.loc["bias", "conf_high"] == pytest.approx(4.302653 / np.sqrt(3), rel=1e-6)  # t(2), printed tables
    assert rows["df"].tolist() == [2, 2, 2]


def test_limits_without_variance_between_patients_count_each_patient_once():
    """SE² = SE(bias)² + 1.96² SD² / (2 (K - 1)), the variance of an SD from K independent values."""
    error = np.tile([0.0, 2.0], 30) + np.linspace(0, 0.01, 60)
    cases = pd.DataFrame({"patient_id": np.repeat(range(30), 2), "achieved_last_mm": 8 + error, "planned_last_mm": 8.0})
    rows = by_reml(fit_depth_agreement(cases))
    assert rows["estimate"].notna().all()
    sd = (rows.loc["high", "estimate"] - rows.loc["low", "estimate"]) / 2 / 1.96
    expected = np.hypot(rows.loc["bias", "std_error"], 1.96 * sd / np.sqrt(2 * 29))
    assert rows.loc["low", "std_error"] == pytest.approx(expected, rel=1e-6)
    assert "limits on K - 1 values" in rows.loc["low", "note"]


@pytest.mark.parametrize(
    ("achieved", "patient", "words"),
    [
        ([np.nan, np.nan], [1, 2], "no site has both"),
        ([5.0, 6.0], [1, 1], "one patient"),
        ([5.0, 5.0, 5.0], [1, 2, 3], "do not scatter|cancel out"),
    ],
)
def test_agreement_that_cannot_be_had(achieved, patient, words):
    cases = pd.DataFrame({"patient_id": patient, "achieved_last_mm": achieved, "planned_last_mm": 5.0})
    estimates = fit_depth_agreement(cases)
    assert all_empty_with(estimates.rows, words)
    assert estimates.left_out["n_sites"].sum() == np.isnan(achieved).sum()


# --- all of them ----------------------------------------------------------


@pytest.mark.parametrize("n_patients", [49, 50])
def test_few_means_under_50_patients(n_patients):
    """The contract's border, for every interval that changes there."""
    cases = invented_cases(n_patients, seed=12)
    rate = fit_perforation_rate(cases).rows
    models = [
        rate[rate["method"] == "cluster"],
        gee_by_method(cases, ["rbh_mid_mm"])[1],
        of_model(fit_gain_mixed(invented_visits(cases, seed=12), cases, ["months"])),
        fit_depth_agreement(cases).rows.query("method == 'reml'"),
    ]
    p = [1, 2, 2, 1]
    for rows, n_coefficients in zip(models, p, strict=True):
        assert rows["n_patients"].eq(n_patients).all()
        if n_patients < 50:
            assert rows["df"].eq(n_patients - n_coefficients).all()
        else:
            assert rows["df"].isna().all()


@settings(max_examples=40, deadline=None)
@given(n_patients=st.integers(1, 9), seed=st.integers(0, 100_000))
def test_tiny_series_never_crash_and_never_leave_a_silent_blank(n_patients, seed):
    cases = invented_cases(n_patients, seed)
    visits = invented_visits(cases, seed)
    implants = follow_up(visits, cases).implants
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        questions = [
            fit_perforation_rate(cases, BY),
            fit_perforation_gee(cases, ["rbh_mid_mm", "approach", "smoking"]),
            fit_survival_km(implants, [12, 36], ["rbh_band", "smoking"]),
            fit_survival_life_table(implants),
            fit_survival_cox(implants, ["rbh_mid_mm", "smoking", "centre"]),
            fit_gain_mixed(visits, cases, ["protrusion_mm", "graft", "months"]),
            fit_depth_agreement(cases),
        ]
    rows = pd.concat([question.rows for question in questions])
    said = rows["problem"].ne("")
    assert (rows["estimate"].notna() | said).all()
    assert (rows["conf_low"].notna() | said).all()
    assert not rows["std_error"].eq(0).any()
    log_scale = rows["scale"].isin(["log_odds", "log_hazard"])
    assert not (log_scale & rows["estimate"].abs().gt(15) & ~said).any()
