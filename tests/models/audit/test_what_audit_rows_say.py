"""What an audit's rows say beside their numbers: the scale of each term, and which rows the report quotes."""

from __future__ import annotations

import pandas as pd
import pytest
from audit_series import CHANCE, CUSUM, LIMITS, MIX, PLAN, counted, operators

from liftseries.base.remarks import names_in
from liftseries.models.audit.benchmark import fit_audit_benchmark
from liftseries.models.audit.between import fit_audit_between
from liftseries.models.audit.by_year import fit_audit_year
from liftseries.models.audit.funnel import fit_audit_funnel
from liftseries.models.audit.learning import fit_audit_learning
from liftseries.models.audit.over_time import fit_audit_cusum
from liftseries.models.shared.results import ZERO_STD_ERROR
from liftseries.study.published import published_counts

RISKS = ("expected", "lower_alarm", "lower_alert", "rate", "upper_alarm", "upper_alert")
PLACE = dict.fromkeys(RISKS, "risk") | {"flag": "flag"}
PLACE |= dict.fromkeys(("false_alarm_flag", "false_flag", "p_high", "p_low"), "probability")
FLAGS = dict.fromkeys(("alarm_flags", "expected_alarm_flags", "expected_flags", "flags"), "count")
SCALES = {
    "audit.series": PLACE,
    "audit.funnel": PLACE
    | FLAGS
    | {"any_alarm_flag": "probability", "any_flag": "probability", "needed_sites": "count", "years": "years"},
    "audit.cusum": {
        "achieved_false_alarm": "probability",
        "expected_signals": "count",
        "final": "log_likelihood_ratio",
        "first_signal": "cases",
        "limit": "log_likelihood_ratio",
        "run_length": "cases",
        "signals": "count",
    },
    "audit.overdispersion": {"expected": "statistic", "statistic": "statistic"},
    "audit.random_effects": {
        "pooled": "log_odds",
        "prediction_high": "risk",
        "prediction_low": "risk",
        "rate": "risk",
        "tau": "log_odds",
    },
    "audit.year": {"difference": "risk_difference", "rate": "risk", "surgery_year": "log_odds"},
}


@pytest.fixture
def rows():
    cases = counted({"A": (12, 60), "B": (6, 60), "C": (9, 80)})
    found = [
        fit_audit_funnel(cases, period=[], case_mix=MIX, **PLAN, **LIMITS),
        fit_audit_cusum(cases, **PLAN, **CUSUM, **CHANCE, case_mix=MIX),
        fit_audit_between(cases, period=[], **PLAN, **CHANCE),
        fit_audit_year(cases),
    ]
    return pd.concat([one.rows for one in found], ignore_index=True)


def test_each_term_has_its_scale(rows):
    found = rows.groupby("analysis")[["term", "scale"]].apply(lambda one: dict(one.drop_duplicates().to_numpy()))
    assert found.to_dict() == SCALES


def test_of_a_funnel_the_clustered_view_is_quoted_of_a_chart_every_row(rows):
    """No row of the whole series is: it lies where it lies."""
    funnel, series = rows[rows["analysis"].eq("audit.funnel")], rows[rows["analysis"].eq("audit.series")]
    assert funnel["headline"].tolist() == funnel["method"].eq("clustered").tolist()
    assert not series["headline"].any()
    chart = rows[rows["analysis"].eq("audit.cusum")]
    assert chart["headline"].tolist() == chart["estimate"].notna().tolist()
    assert chart["headline"].any()


def test_sites_left_out_stand_under_the_analysis_that_leaves_them_out():
    """Two heights are missing: the funnel's case mix goes without these sites, and so does the learning curve."""
    cases = counted({"A": (12, 60), "B": (6, 60), "C": (9, 80)})
    cases.loc[[3, 70], "rbh_mid_mm"] = float("nan")
    funnel = fit_audit_funnel(cases, period=[], case_mix=MIX, **PLAN, **LIMITS).left_out
    assert funnel[funnel["n_sites"].eq(2)][["analysis", "subset"]].to_numpy().tolist() == [["audit.funnel", "case_mix"]]
    learning = fit_audit_learning(cases, MIX).left_out
    assert learning[["analysis", "subset", "n_sites"]].to_numpy().tolist() == [["audit.learning", "all", 2]]


def test_a_curve_so_steep_that_its_risks_are_0_or_1_says_so():
    """Each unit's first cases are torn and no other."""
    rows = fit_audit_learning(counted({"A": (12, 60), "B": (6, 60), "C": (9, 80)}), MIX).rows
    steep = rows[rows["estimate"].isna()]
    assert len(steep)
    assert steep["problem"].eq(ZERO_STD_ERROR).all()
    assert not steep["headline"].any()


def test_a_trend_of_few_patients_takes_t_less_its_two_coefficients():
    rows = fit_audit_year(counted({"A": (12, 49)})).rows
    trend = rows[rows["method"].eq("profile_or_jackknife")].iloc[0]
    assert trend["df"] == 47


UNITS = {"A": (12, 60), "B": (6, 60), "C": (9, 80)}


def test_every_analysis_tells_why_sites_are_left_out():
    """Of three sites the operator is unknown, of five the tear, one is both; sites of even rows are of 2021."""
    cases = counted(UNITS)
    cases.loc[[0, 61, 122], "operator"] = None
    cases.loc[[0, 3, 62, 65, 124], "perforation"] = "unknown"
    told = {"operated on outside the period": 100, "operator unknown": 2, "perforation unknown": 2}
    plan = PLAN | {"period": [2021]}
    in_period = {"by": "operator", "period": [2021], "expected": {}}
    for left, names in (
        (fit_audit_funnel(cases, case_mix=MIX, **plan, **LIMITS).left_out, ["audit.funnel"]),
        (fit_audit_between(cases, **plan, **CHANCE).left_out, ["audit.overdispersion", "audit.random_effects"]),
        (fit_audit_benchmark(cases, **in_period).left_out, ["audit.benchmark"]),
    ):
        for name in names:
            found = left[left["analysis"].eq(name) & left["subset"].eq("all")]
            assert dict(zip(found["reason"], found["n_sites"], strict=True)) == told, name
    every_year = {"operator unknown": 3, "perforation unknown": 4}
    for left in (
        fit_audit_cusum(cases, **PLAN, **CUSUM, **CHANCE, case_mix=MIX).left_out,
        fit_audit_learning(cases, MIX).left_out,
    ):
        assert dict(zip(left["reason"], left["n_sites"], strict=True)) == every_year
    left = fit_audit_year(cases.assign(surgery_year=cases["surgery_year"].mask(cases.index.isin([7, 8])))).left_out
    assert left["n_sites"].tolist() == [5, 2]
    assert set(left["analysis"]) == {"audit.year"}


def test_a_rate_by_patients_has_its_design_effect():
    """Its variance over that of as many sites of their own: Kish 1965, section 8.2 (from memory)."""
    cases = operators()
    found = [
        fit_audit_funnel(cases, period=[], case_mix=MIX, **PLAN | {"standard": 0.2}, **LIMITS),
        fit_audit_year(cases),
    ]
    rows, effects = (pd.concat([getattr(one, table) for one in found]) for table in ("rows", "design_effects"))
    rates = rows[rows["term"].eq("rate") & rows["method"].ne("binomial")]
    assert rates.groupby("analysis").size().to_dict() == {"audit.funnel": 10, "audit.series": 1, "audit.year": 4}
    effects = effects.set_index(["term", "subset", "method"])["estimate"]
    assert len(effects) == len(rates)
    for _, rate in rates.iterrows():
        alone = rate["estimate"] * (1 - rate["estimate"]) / rate["n_sites"]
        effect = effects[f"{rate['analysis']} rate", rate["subset"], rate["method"]]
        assert effect == pytest.approx(rate["std_error"] ** 2 / alone)


def test_what_published_series_come_to_is_told_of_their_sinuses():
    published = published_counts()
    in_period = {"by": "operator", "period": [], "expected": {}}
    rows = fit_audit_benchmark(counted(UNITS), **in_period).rows.set_index("term")
    pooled, place = rows.drop(index="percentile"), rows.loc["percentile"]
    assert pooled["scale"].to_dict() | {"rate": "risk"} == SCALES["audit.random_effects"]
    assert pooled["n_events"].eq(published["events"].sum()).all()
    assert pooled["n_patients"].isna().all()
    assert rows.loc[["prediction_low", "prediction_high", "percentile"], "df"].eq(len(published) - 2).all()
    assert place[["n_sites", "n_patients", "n_events"]].tolist() == [200, 200, 27]
    assert place["scale"] == "probability"
    assert rows["headline"].all()
    assert rows["note"].map(names_in).eq({"published_per_sinus"}).all()
    few = fit_audit_benchmark(counted({"A": (9, 60)}), **in_period).rows.set_index("term")
    assert names_in(few.loc["percentile", "problem"]) == {"below_gate_audit"}
    assert few["estimate"].notna().sum() == len(pooled)
    four = fit_audit_benchmark(counted(UNITS), **in_period, published=published.iloc[:4]).rows
    assert four["problem"].map(names_in).eq({"too_few_published"}).all()
    assert not four["headline"].any()
