"""What no data set may do to an answer: no exception, no silent blank, no zero standard error, no certain interval."""

import warnings

import numpy as np
import pandas as pd
import pytest
from every_question import every_question
from invented import category, invented_cases, invented_visits

from liftseries.base.remarks import names_in
from liftseries.models.questions import ANALYSES, question
from liftseries.models.shared.question import DESCRIBED as QUESTION_DESCRIBED
from liftseries.models.shared.results import DESIGN_EFFECT, KEY, RESULT_COLUMNS

# Shares and measurements as recorded: what the clustering costs each of them is told nowhere.
DESCRIBED = [name for name, analysis in ANALYSES.items() if analysis.methods == QUESTION_DESCRIBED]


def series(n_patients=60, seed=11, **columns):
    """An invented series; `columns` overwrite those of its cases."""
    cases = invented_cases(n_patients, seed).assign(**columns)
    return cases, invented_visits(cases, seed + 1)


def one_patient():
    cases, visits = series()
    cases = cases[cases["patient_id"] == cases["patient_id"].iloc[-1]].reset_index(drop=True)
    return cases, visits[visits["site_id"].isin(cases["site_id"])]


def separated():
    """No guided site perforated, every freehand one did; only former smokers lost an implant."""
    cases, visits = series()
    cases["perforation"] = category("perforation", np.where(cases["approach"] == "guided", "no", "yes"))
    former = set(cases.loc[cases["smoking"] == "former", "site_id"])
    fine = visits["status"].eq("functioning") | visits["site_id"].isin(former)
    return cases, visits.assign(status=visits["status"].where(fine, "functioning"))


def separated_by_number():
    """Every site below 4 mm perforated and no other."""
    cases, visits = series()
    cases["perforation"] = category("perforation", np.where(cases["rbh_mid_mm"] < 4, "yes", "no"))
    return cases, visits


def all_censored():
    cases, visits = series()
    return cases, visits.assign(status=category("status", ["functioning"] * len(visits)))


def all_failed_at_once():
    cases, visits = series()
    visits = visits.groupby("site_id", as_index=False).first()
    return cases, visits.assign(months=12.0, status=category("status", ["failed"] * len(visits)))


def no_visits():
    cases, visits = series()
    return cases, visits.iloc[:0]


def nobody():
    cases, visits = series()
    return cases.iloc[:0], visits.iloc[:0]


def only_deaths():
    cases, visits = series()
    visits = visits.groupby("site_id", as_index=False).first()
    return cases, visits.assign(months=12.0, status=category("status", ["patient_died"] * len(visits)))


def one_event():
    cases, visits = series()
    perforation = np.where(np.arange(len(cases)) == 7, "yes", "no")
    cases["perforation"] = category("perforation", perforation)
    first = visits.index[visits["months"] == 12][0]
    status = np.where(visits.index == first, "failed", "functioning")
    visits = visits.assign(status=category("status", status))
    gone = (visits["site_id"] == visits.loc[first, "site_id"]) & (visits["months"] > 12)
    return cases, visits[~gone]


def nothing_measured():
    cases, visits = series()
    empty = dict.fromkeys(["rbh_mid_mm", "protrusion_mm", "planned_last_mm", "achieved_last_mm"], np.nan)
    no_band = pd.Categorical([None] * len(cases), categories=["<4", "4 to <6", "≥6"])
    return cases.assign(**empty, rbh_band=no_band), visits.assign(bone_height_mm=np.nan)


KINDS = {
    "twelve patients": lambda: series(12),
    "three patients": lambda: series(3),
    "one patient": one_patient,
    "nobody": nobody,
    "no perforation": lambda: series(perforation="no"),
    "only perforations": lambda: series(perforation="yes"),
    "perforation unknown": lambda: series(perforation="unknown"),
    "one centre, one approach": lambda: series(centre="east", approach="guided"),
    "separated": separated,
    "separated by a number": separated_by_number,
    "one event": one_event,
    "all censored": all_censored,
    "all failed at once": all_failed_at_once,
    "only deaths": only_deaths,
    "no visits": no_visits,
    "nothing measured": nothing_measured,
    "one site a patient": lambda: (lambda c, v: (c, v[v["site_id"].isin(c["site_id"])]))(
        series()[0].groupby("patient_id", as_index=False).first(), series()[1]
    ),
    "all alike": lambda: series(rbh_mid_mm=5.0, protrusion_mm=3.0, planned_last_mm=5.0, achieved_last_mm=5.0),
}


@pytest.fixture(scope="module", params=KINDS)
def answers(request):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return every_question(*KINDS[request.param]())


def test_every_row_says_a_number_or_why_not(answers):
    for name, estimates in answers.items():
        rows = estimates.rows
        assert tuple(rows.columns) == RESULT_COLUMNS, name
        assert len(rows) or name.startswith("survival_life") or name == "sensitivity_evalue", name
        assert (rows["estimate"].notna() | rows["problem"].ne("")).all(), name
        # Without an interval, a test or a reason an estimate would stand there as if it were sure.
        sure = rows["conf_low"].notna() | rows["p_value"].notna() | rows["problem"].ne("")
        sure |= rows["analysis"].eq("sensitivity.tipping_point")
        sure |= rows["analysis"].str.startswith("stability.") & rows["term"].ne("mean")  # they describe, no more
        # How alike groups are, and what follows from a row that has its own interval.
        sure |= rows["analysis"].isin([f"comparison.{one}" for one in ("balance", "sample", "evalue", "detectable")])
        sure |= rows["method"].eq("counted")  # how many there were, no estimate of anything else
        # Numbers of measurements, quartiles and medians describe what was seen; nothing is inferred from them.
        sure |= rows["analysis"].isin(DESCRIBED) & rows["term"].str.contains(r"\b(?:n|median|q1|q3|max|months)$")
        assert sure.all(), (name, rows[~sure])
        assert not np.isinf(rows[["estimate", "std_error", "conf_low", "conf_high"]].to_numpy(float)).any(), name


def test_no_standard_error_is_zero_and_no_coefficient_large_without_a_word(answers):
    for name, estimates in answers.items():
        rows = estimates.rows
        assert not (rows["std_error"] <= 0).any(), name
        logs = rows[rows["scale"].isin(["log_odds", "log_hazard", "log_time"])]
        assert (logs["estimate"].abs().le(15) | logs["estimate"].isna() | logs["problem"].ne("")).all(), name


def test_no_interval_is_a_point_or_leaves_the_estimate_out(answers):
    for name, estimates in answers.items():
        rows = estimates.rows[estimates.rows["conf_low"].notna() & estimates.rows["conf_high"].notna()]
        assert (rows["conf_low"] < rows["conf_high"]).all(), name
        assert rows["estimate"].between(rows["conf_low"], rows["conf_high"]).all(), name
        shares = rows[rows["scale"].isin(["risk", "probability"])]
        assert shares[["conf_low", "conf_high"]].stack().between(0, 1).all(), name


def test_a_row_stands_once(answers):
    for name, estimates in answers.items():
        assert not pd.concat([estimates.rows, estimates.design_effects]).duplicated(list(KEY)).any(), name


def test_every_method_is_declared(answers):
    for name, estimates in answers.items():
        found = pd.concat([estimates.rows, estimates.design_effects])
        analysis = found["term"].str.partition(" ")[0].where(found["analysis"].eq(DESIGN_EFFECT), found["analysis"])
        for declared, method in set(zip(analysis, found["method"], strict=True)):
            assert method in ANALYSES[declared].methods, (name, method)


def test_every_remark_of_a_row_has_a_name(answers):
    """Nothing is said of an estimate, or of a site left out, in words that nobody can ask for by name."""
    for name, estimates in answers.items():
        texts = {*estimates.rows["note"], *estimates.rows["problem"], *estimates.left_out["reason"]}
        assert not [text for text in texts if "" in names_in(text)], name


def test_every_model_declared_leaves_its_covariance_and_its_sites(answers):
    """The covariance is that of the rows of its method, the sites used are those that they count."""
    for name, estimates in answers.items():
        models = {model.name: model for model in estimates.fitted}
        declared = question(name).fits
        first_terms = {one for one in declared if one.endswith(".first_terms")}  # where events carry no more
        assert set(declared) - first_terms <= set(models), name
        for model in (models[one] for one in declared if one in models):
            analysis = model.name.removesuffix(".first_terms")
            rows = estimates.rows[estimates.rows["analysis"].eq(analysis) & estimates.rows["method"].eq(model.method)]
            assert rows["n_sites"].eq(model.why_not.eq("").sum()).all(), model.name
            rows = rows.set_index("term").loc[list(model.terms)]
            if model.covariance is None:
                assert rows["estimate"].isna().all(), model.name
                continue
            told = rows["std_error"].to_numpy(float)
            found = np.where(np.isnan(told), np.nan, np.sqrt(np.diag(model.covariance)))
            if model.name == "survival.interval":  # no error below the model's own
                assert (np.isnan(told) | (told >= found * (1 - 1e-9))).all()
            else:
                np.testing.assert_allclose(told, found, rtol=1e-9, err_msg=model.name)


NOT_CLUSTERED = ("survival.patient", "measurement.icc", "sensitivity.evalue", *DESCRIBED)


def test_every_clustered_estimate_has_its_design_effect():
    """Of a plain series: whatever has a standard error from patients stands beside what it costs."""
    for estimates in every_question(*series(90)).values():
        rows = estimates.rows[estimates.rows["std_error"].notna()]
        rows = rows[~rows["analysis"].str.startswith("comparison.")]  # no contrast is told beside its independent sites
        rows = rows[~rows["analysis"].isin(NOT_CLUSTERED) & ~rows["subset"].str.startswith("centre=")]
        effects = estimates.design_effects
        known = set((effects["term"] + "|" + effects["subset"]).tolist())
        asked = rows["analysis"] + " " + rows["term"] + "|" + rows["subset"]
        assert set(asked) <= known, set(asked) - known


def test_design_effects_belong_to_rows_with_an_interval(answers):
    for name, estimates in answers.items():
        rows = estimates.rows[estimates.rows["conf_low"].notna()]
        known = set((rows["analysis"] + " " + rows["term"]).str.cat(rows["subset"], sep="|"))
        effects = estimates.design_effects
        assert set(effects["term"].str.cat(effects["subset"], sep="|")) <= known, name
        assert (effects["estimate"] > 0).all(), name
