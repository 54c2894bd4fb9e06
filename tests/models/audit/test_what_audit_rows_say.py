"""What an audit's rows say beside their numbers: the scale of each term, and which rows the report quotes."""

from __future__ import annotations

import pandas as pd
import pytest
from audit_series import CHANCE, CUSUM, LIMITS, MIX, PLAN, SCALES, counted, operators

from liftseries.base.remarks import names_in
from liftseries.models.audit.benchmark import fit_audit_benchmark
from liftseries.models.audit.between import fit_audit_between
from liftseries.models.audit.by_year import fit_audit_year
from liftseries.models.audit.funnel import fit_audit_funnel
from liftseries.models.audit.learning import fit_audit_learning
from liftseries.models.audit.over_time import fit_audit_cusum
from liftseries.models.shared.results import ZERO_STD_ERROR
from liftseries.study.published import published_counts

UNITS = {"A": (12, 60), "B": (6, 60), "C": (9, 80)}


def rows_of(cases: pd.DataFrame) -> pd.DataFrame:
    found = [
        fit_audit_funnel(cases, period=[], case_mix=MIX, **PLAN, **LIMITS),
        fit_audit_cusum(cases, **PLAN, **CUSUM, **CHANCE, case_mix=MIX),
        fit_audit_between(cases, period=[], **PLAN, **CHANCE),
        fit_audit_year(cases),
    ]
    return pd.concat([one.rows for one in found], ignore_index=True)


@pytest.fixture
def rows():
    return rows_of(counted(UNITS))


def scales_of(rows: pd.DataFrame) -> dict:
    return (
        rows.groupby("analysis")[["term", "scale"]].apply(lambda one: dict(one.drop_duplicates().to_numpy())).to_dict()
    )


def test_each_term_has_its_scale(rows):
    assert scales_of(rows) == SCALES


@pytest.mark.parametrize("events", [{"A": (2, 60), "B": (1, 60)}, {"A": (4, 60), "B": (3, 60)}, {"A": (20, 60)}])
def test_a_term_that_is_refused_keeps_its_scale_and_says_why(events):
    """Too few tears for anything, enough for the clustered view alone, and one unit with none beside it."""
    rows = rows_of(counted(events))
    assert scales_of(rows) == SCALES
    refused = rows["estimate"].isna()
    assert refused.any()
    assert rows.loc[refused, "problem"].map(names_in).map(bool).all()
    assert not rows.loc[refused, "headline"].any()


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
    cases = counted(UNITS)
    cases.loc[[3, 70], "rbh_mid_mm"] = float("nan")
    funnel = fit_audit_funnel(cases, period=[], case_mix=MIX, **PLAN, **LIMITS).left_out
    assert funnel[funnel["n_sites"].eq(2)][["analysis", "subset"]].to_numpy().tolist() == [["audit.funnel", "case_mix"]]
    learning = fit_audit_learning(cases, MIX).left_out
    assert learning[["analysis", "subset", "n_sites"]].to_numpy().tolist() == [["audit.learning", "all", 2]]


def test_a_curve_so_steep_that_its_risks_are_0_or_1_says_so():
    """Each unit's first cases are torn and no other."""
    rows = fit_audit_learning(counted(UNITS), MIX).rows
    steep = rows[rows["estimate"].isna()]
    assert len(steep)
    assert steep["problem"].eq(ZERO_STD_ERROR).all()
    assert not steep["headline"].any()


def test_a_trend_of_few_patients_takes_t_less_its_two_coefficients():
    rows = fit_audit_year(counted({"A": (12, 49)})).rows
    trend = rows[rows["method"].eq("profile_or_jackknife")].iloc[0]
    assert trend["df"] == 47


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
    assert set(pooled["n_sites"]) == {published["denominator"].sum()}
    assert set(pooled["n_events"]) == {published["events"].sum()}
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


@pytest.mark.parametrize(("n_patients", "problem"), [(2, "too_few_patients"), (1, "too_few_patients"), (60, "")])
def test_a_trend_of_hardly_a_patient_says_why_it_has_no_interval(n_patients, problem):
    cases = counted({"A": (12, 60)})
    cases["patient_id"] = [f"P{k % n_patients}" for k in range(60)]
    trend = fit_audit_year(cases).rows.set_index("method").loc["profile_or_jackknife"]
    assert names_in(trend["problem"]) == ({problem} if problem else set())
    assert trend["headline"] == (not problem)
    assert pd.isna(trend["conf_low"]) == bool(problem)
    assert pd.notna(trend["estimate"])


def test_years_that_give_no_trend_say_why():
    one = fit_audit_year(counted({"A": (12, 60)}, surgery_year=2020)).rows.set_index("method")
    assert names_in(one.loc["profile_or_jackknife", "problem"]) == {"one_year"}
    few = fit_audit_year(counted({"A": (9, 60)})).rows
    assert few["problem"].map(names_in).eq({"below_gate_audit"}).all()
