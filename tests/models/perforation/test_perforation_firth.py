"""Rows of perforation.firth: three a term, finite under separation, a problem wherever there is no number."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import invented_cases

from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.shared import penalised
from liftseries.models.shared.penalised import profile_rows
from liftseries.models.shared.results import Fit

TERMS = ["rbh_mid_mm", "approach"]
NAMES = ["(intercept)", "rbh_mid_mm", "approach[guided]"]


def by_method(cases, terms=TERMS):
    rows = fit_perforation_firth(cases, terms).rows
    return {method: rows[rows["method"] == method].set_index("term") for method in ("profile", "jackknife")}


def all_told(rows, words):
    return rows["estimate"].isna().all() and rows["problem"].str.contains(words).all()


def test_three_rows_a_term_with_one_estimate(many_cases):
    rows = fit_perforation_firth(many_cases, TERMS).rows
    assert rows["method"].tolist() == ["profile"] * 3 + ["jackknife"] * 3 + ["profile_or_jackknife"] * 3
    assert rows["headline"].tolist() == [False] * 6 + [True] * 3
    profile, jackknife = by_method(many_cases).values()
    wider = rows[rows["method"].eq("profile_or_jackknife")].set_index("term")
    assert wider["conf_low"].tolist() == np.minimum(profile["conf_low"], jackknife["conf_low"]).tolist()
    assert wider["conf_high"].tolist() == np.maximum(profile["conf_high"], jackknife["conf_high"]).tolist()
    assert wider["std_error"].tolist() == jackknife["std_error"].tolist()
    assert profile.index.tolist() == jackknife.index.tolist() == NAMES
    np.testing.assert_array_equal(profile["estimate"], jackknife["estimate"])
    assert rows[["std_error", "conf_low", "conf_high", "p_value"]].notna().all(axis=None)
    assert rows["problem"].eq("").all()
    assert rows["df"].isna().all()
    assert rows["scale"].eq("log_odds").all()


def test_the_first_terms_alone_leave_a_model_with_the_sites_and_errors_of_their_rows(many_cases):
    """Eight tears carry one term; a site whose approach is unknown is then used after all."""
    torn = np.arange(len(many_cases)) % (len(many_cases) // 8) == 0
    cases = many_cases.assign(perforation=np.where(torn & (torn.cumsum() <= 8), "yes", "no"))
    cases.loc[1, "approach"] = None
    found = fit_perforation_firth(cases, TERMS)
    first = found.rows[found.rows["method"].eq("first_terms")].set_index("term")
    assert first["headline"].all()
    whole, alone = found.fitted
    assert (alone.name, alone.formula) == ("perforation.firth.first_terms", '(perforation == "yes") ~ rbh_mid_mm')
    assert (whole.n, alone.n) == (len(cases) - 1, len(cases))
    assert first["n_sites"].eq(alone.why_not.eq("").sum()).all()
    np.testing.assert_allclose(
        np.sqrt(np.diag(alone.covariance)), first.loc[list(alone.terms), "std_error"], rtol=1e-12
    )


def test_few_patients_get_t_for_the_jackknife_alone(few_cases):
    profile, jackknife = by_method(few_cases).values()
    assert profile["df"].isna().all()
    assert jackknife["df"].eq(30 - 3).all()
    ratio = (jackknife["conf_high"] - jackknife["estimate"]) / jackknife["std_error"]
    np.testing.assert_allclose(ratio, 2.051831, atol=1e-6)  # t(27), printed tables


def test_a_level_without_perforation_has_finite_odds(many_cases):
    cases = many_cases.copy()
    cases.loc[cases["approach"] == "guided", "perforation"] = "no"
    profile, jackknife = by_method(cases).values()
    guided = profile.loc["approach[guided]"]
    assert -8 < guided["estimate"] < -2
    assert guided["conf_low"] < guided["estimate"] < guided["conf_high"] < 0
    assert guided["p_value"] < 0.001
    assert jackknife["problem"].eq("").all()


def test_left_out_sites_and_an_absent_reference_are_told(many_cases):
    cases = many_cases[many_cases["smoking"] != "never"].reset_index(drop=True)
    cases.loc[:1, "perforation"] = "unknown"
    estimates = fit_perforation_firth(cases, ["smoking"])
    note = "smoking against former, as no complete case is never"
    assert set(estimates.rows["method"]) == {"profile", "jackknife", "profile_or_jackknife"}
    assert estimates.rows["note"].eq(note).all()
    assert estimates.left_out[["analysis", "reason", "n_sites"]].to_numpy().tolist() == [
        ["perforation.firth", "perforation unknown", 2]
    ]


@pytest.mark.parametrize(("outcome", "which"), [("no", "no site"), ("yes", "every site"), ("unknown", "no site has")])
def test_nothing_or_everything_perforated_is_no_estimate(many_cases, outcome, which):
    for rows in by_method(many_cases.assign(perforation=outcome)).values():
        assert rows.index[0] == "(intercept)"
        assert rows["estimate"].isna().all()
        assert rows["problem"].ne("").all()
        assert rows.loc["(intercept)", "problem"].startswith(which)


def test_terms_that_cannot_stand_in_the_model_keep_their_rows(many_cases):
    cases = many_cases.assign(isq=70.0, twice=2 * many_cases["rbh_mid_mm"])
    alone = by_method(many_cases, ["rbh_mid_mm"])
    for method, rows in by_method(cases, ["rbh_mid_mm", "isq", "twice", "flapless"]).items():
        assert rows.index.tolist()[:2] == ["(intercept)", "rbh_mid_mm"]
        assert rows.loc["isq", "problem"].startswith("isq does not vary")
        assert rows.loc["twice", "problem"].startswith("twice follows from")
        assert rows.loc["flapless", "problem"] == "there is no such column"
        np.testing.assert_allclose(rows["estimate"].iloc[:2], alone[method]["estimate"])


def test_one_patient_has_a_profile_but_no_jackknife(many_cases):
    profile, jackknife = by_method(many_cases.assign(patient_id="P1")).values()
    assert profile["problem"].eq("").all()
    assert jackknife["problem"].str.contains("too few patients").all()
    assert jackknife["conf_low"].isna().all()


def test_a_year_is_remarked_on_at_the_intercept_only(many_cases):
    year = 2015 + np.arange(len(many_cases)) % 7
    for rows in by_method(many_cases.assign(surgery_year=year), ["surgery_year"]).values():
        assert "every term is 0" in rows.loc["(intercept)", "problem"]
        assert rows.loc["surgery_year", "problem"] == ""
        assert rows["conf_low"].notna().all()


def test_more_than_a_thousand_patients_are_said_to_leave_in_groups(monkeypatch, many_cases):
    monkeypatch.setattr(penalised, "MOST_GROUPS", 100)
    notes = fit_perforation_firth(many_cases, TERMS).rows.groupby("method")["note"].unique()
    assert notes["profile"].tolist() == [""]
    assert notes["jackknife"].tolist() == ["whole patients left out in 100 groups"]


def test_a_limit_that_is_not_found_is_empty_and_said_to_be(many_cases):
    from liftseries.estimators.firth import FirthFit

    one = np.array([1.0])
    model = FirthFit(one, one, np.array([np.nan]), 3 * one, np.array([np.nan]), -9.0, np.eye(1))
    fit = Fit(analysis="a", subset="all", scale="log_odds", method="profile", n_sites=9, n_patients=9)
    (row,) = profile_rows(fit, ["septum[yes]"], model)
    assert row["conf_high"] == 3
    assert (
        row["problem"] == "the lower limit of the profile was not found; the likelihood without the term was not found"
    )


@settings(max_examples=30, deadline=None)
@given(n_patients=st.integers(1, 12), seed=st.integers(0, 100_000))
def test_tiny_series_never_crash_and_never_leave_a_silent_blank(n_patients, seed):
    cases = invented_cases(n_patients, seed)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        rows = fit_perforation_firth(cases, ["rbh_mid_mm", "approach", "smoking"]).rows
    said = rows["problem"].ne("")
    assert rows.loc[rows["headline"], ["conf_low", "conf_high"]].notna().all(axis=None)
    assert (rows["estimate"].notna() | said).all()
    assert (rows[["conf_low", "conf_high", "p_value"]].notna().all(axis=1) | said).all()
    assert not rows["std_error"].eq(0).any()
    assert not (rows["estimate"].abs().gt(15) & ~said).any()
    terms = rows.groupby("method")["term"].apply(list)
    assert terms["profile"] == terms["jackknife"]
    assert isinstance(rows, pd.DataFrame)
