"""Rows of survival.firth_cox: two a term, when they are the ones to read, and a problem wherever there is no number."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import invented_cases, invented_visits

from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.penalised import WIDER
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.firth_cox import FIRST_TERMS, fit_survival_firth_cox

TERMS = ["rbh_mid_mm", "smoking"]
NAMES = ["rbh_mid_mm", "smoking[former]", "smoking[current]"]


def with_failures(implants, n):
    """The same implants with the first n failures only."""
    fewer = implants.copy()
    fewer.loc[fewer.index[fewer["failed"]][n:], "failed"] = False
    return fewer


@pytest.fixture(scope="module")
def implants(many_visits, many_cases):
    return follow_up(many_visits, many_cases).implants


def by_kind(implants, terms=TERMS):
    rows = fit_survival_firth_cox(implants, terms).rows
    kind = rows["method"]
    return {name: rows[kind == name].set_index("term") for name in ("profile", "jackknife")}


def test_two_rows_a_term_near_the_cox_model(implants):
    """With 29 failures for two coefficients the penalty is small against the standard error."""
    assert implants["failed"].sum() == 29
    profile, jackknife = by_kind(implants, ["rbh_mid_mm", "approach"]).values()
    assert profile.index.tolist() == jackknife.index.tolist() == ["rbh_mid_mm", "approach[guided]"]
    cox = fit_survival_cox(implants, ["rbh_mid_mm", "approach"]).rows.query("method == 'sandwich'").set_index("term")
    for rows in (profile, jackknife):
        assert rows["problem"].eq("").all()
        assert rows["scale"].eq("log_hazard").all()
        assert not rows["headline"].any()
        np.testing.assert_allclose(rows["estimate"], cox["estimate"], atol=0.1 * cox["std_error"].max())
        assert rows[["std_error", "conf_low", "conf_high", "p_value"]].notna().all(axis=None)
    np.testing.assert_allclose(jackknife["std_error"], cox["std_error"], rtol=0.2)


def test_a_level_without_failure_has_a_ratio_here_alone(implants):
    none = implants.copy()
    none.loc[none["smoking"] == "former", "failed"] = False
    profile, jackknife = by_kind(none).values()
    assert profile.index.tolist() == jackknife.index.tolist() == NAMES
    assert fit_survival_cox(none, TERMS).rows["estimate"].isna().all()
    former = profile.loc["smoking[former]"]
    assert former["conf_low"] < former["estimate"] < former["conf_high"] < 0
    assert jackknife["std_error"].notna().all()


def test_without_an_answer_every_row_says_why(implants, many_visits, many_cases):
    nobody = follow_up(many_visits.iloc[:0], many_cases).implants
    for table, words in (
        (nobody, "no implant was followed"),
        (implants.assign(failed=False), "no implant used has failed"),
        (implants.assign(rbh_mid_mm=np.nan), "no implant followed has all terms recorded"),
    ):
        for rows in by_kind(table).values():
            assert len(rows) >= 2
            assert rows["estimate"].isna().all()
            assert rows["problem"].str.contains(words).all()
    assert len(fit_survival_firth_cox(implants, []).rows) == 0
    constant = fit_survival_firth_cox(implants.assign(isq=70.0), ["isq"]).rows
    assert constant["problem"].str.contains("does not vary").all()
    missing = by_kind(implants, ["rbh_mid_mm", "flapless"])["profile"]
    assert missing.loc["flapless", "problem"] == "there is no such column"
    assert missing.loc["rbh_mid_mm", "problem"] == ""


def test_one_patient_has_a_profile_but_no_jackknife(implants):
    profile, jackknife = by_kind(implants.assign(patient_id="P1")).values()
    assert profile["conf_low"].notna().all()
    assert jackknife["problem"].str.contains("too few patients").all()


def test_few_patients_get_t_for_the_jackknife_alone(implants):
    few = implants[implants["patient_id"].isin(implants["patient_id"].unique()[:40])]
    profile, jackknife = by_kind(few, ["rbh_mid_mm"]).values()
    assert profile["df"].isna().all()
    assert jackknife["df"].tolist() == [few["patient_id"].nunique() - 1]


@settings(max_examples=15, deadline=None)
@given(n_patients=st.integers(1, 12), seed=st.integers(0, 100_000))
def test_tiny_series_never_crash_and_never_leave_a_silent_blank(n_patients, seed):
    cases = invented_cases(n_patients, seed)
    implants = follow_up(invented_visits(cases, seed), cases).implants
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        rows = fit_survival_firth_cox(implants, ["rbh_mid_mm", "smoking", "centre"]).rows
    said = rows["problem"].ne("")
    assert (rows["estimate"].notna() | said).all()
    assert (rows[["conf_low", "conf_high", "p_value"]].notna().all(axis=1) | said).all()
    assert not rows["std_error"].eq(0).any()
    assert not (rows["estimate"].abs().gt(15) & ~said).any()
    kind = rows["method"]
    terms = [rows.loc[kind == name, "term"].tolist() for name in ("profile", "jackknife")]
    assert terms[0] == terms[1]


# ── which row is quoted ─────────────────────────────────────────────────────────────────────────────────────


def quoted(implants, terms):
    """Method and term of the headline rows."""
    rows = fit_survival_firth_cox(implants, terms).rows
    return rows.loc[rows["headline"], ["method", "term"]].apply(tuple, axis=1).tolist()


def test_the_wider_limits_are_quoted_below_500_failures(implants):
    rows = fit_survival_firth_cox(implants, ["rbh_mid_mm", "approach"]).rows.set_index(["method", "term"])
    for term in ("rbh_mid_mm", "approach[guided]"):
        profile, jackknife, wider = (
            rows.loc[(method, term)] for method in ("profile", "jackknife", "profile_or_jackknife")
        )
        assert wider["headline"]
        assert wider["conf_low"] == min(profile["conf_low"], jackknife["conf_low"])
        assert wider["conf_high"] == max(profile["conf_high"], jackknife["conf_high"])
        assert wider["std_error"] == jackknife["std_error"]


@pytest.mark.parametrize(
    ("n_failed", "terms", "expected"),
    [
        (4, ["rbh_mid_mm"], []),
        (5, ["rbh_mid_mm"], [(WIDER, "rbh_mid_mm")]),
        (9, ["rbh_mid_mm", "approach"], [(FIRST_TERMS, "rbh_mid_mm")]),
        (9, ["smoking", "rbh_mid_mm"], []),
        (10, ["rbh_mid_mm", "approach"], [(WIDER, "rbh_mid_mm"), (WIDER, "approach[guided]")]),
        (14, ["rbh_mid_mm", "smoking"], [(FIRST_TERMS, "rbh_mid_mm")]),
        (15, ["rbh_mid_mm", "smoking"], [(WIDER, name) for name in NAMES]),
    ],
)
def test_failures_decide_how_many_terms_are_quoted(implants, n_failed, terms, expected):
    """5 to 9 failures one coefficient, from 10 a fifth of them; smoking has two."""
    assert quoted(with_failures(implants, n_failed), terms) == expected


def test_the_first_terms_alone_are_the_model_of_those_terms(implants):
    few = with_failures(implants, 9)
    found = fit_survival_firth_cox(few, ["rbh_mid_mm", "approach"])
    rows, (_, model) = found.rows, found.fitted
    (alone,) = fit_survival_firth_cox(few, ["rbh_mid_mm"]).rows.query("headline").to_dict("records")
    (first,) = rows.query("method == 'first_terms'").to_dict("records")
    same = ["estimate", "std_error", "conf_low", "conf_high", "p_value", "n_sites", "n_events"]
    assert [first[name] for name in same] == [alone[name] for name in same]
    assert (model.name, model.formula) == ("survival.firth_cox.first_terms", "Surv(months, failed) ~ rbh_mid_mm")
    assert model.n == model.why_not.eq("").sum() == first["n_sites"]
    assert np.sqrt(model.covariance).tolist() == [[first["std_error"]]]
    assert first["note"] == "only 1 term of the plan, in its order, as the events carry no more"
    rest = rows[rows["method"].eq("profile_or_jackknife")]
    assert rest["note"].str.contains("9 events carry 1 term, the model has 2 terms").all()
