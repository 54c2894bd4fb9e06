"""What may change no answer, asked of every question at once: names, an unknown outcome; and twice the patients.

Two invented series, so that each question is fitted ten times in all.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from every_question import every_question
from invented import invented_cases, invented_visits

KEY = ["analysis", "subset", "term", "method"]
NUMBERS = ["estimate", "std_error", "conf_low", "conf_high", "p_value", "df", "n_sites", "n_patients", "n_events"]
SEEDS = (11, 23)
N_PATIENTS = 60
A_LITTLE = 0.05  # of a variance: what the knots of a spline, quantiles of the sites, move by
# Fitted on draws of patients in the order of their names.
DRAWN = {("survival.turnbull", "bootstrap"), ("perforation.validation", "optimism_corrected")}
# The log that `gauged` makes reads by the rows' position.
BY_POSITION = "depth.read"
# Which terms its model has depends on the number of failures, which are few.
BY_EVENTS = "survival.gain"
# Analyses in which a site counts though nobody knows how it ended, and why.
COUNTS_ALL = {
    "followup.completeness": "an implant without a visit is one that was not followed",
    "series.graft": "tells of the treatment, which is known",
    "measurement.icc": "the residual bone height, which is known",
}
# (analysis, method) -> why twice the same patients are not half the variance, or give another estimate; all come near.
NEARLY = {
    **dict.fromkeys([
        ("comparison.depth_error", "crude"), ("comparison.depth_error", "g_computation"),
        ("comparison.depth_error_size", "crude"), ("comparison.depth_error_size", "g_computation"),
        ("comparison.gain", "crude"), ("comparison.gain", "g_computation"), ("comparison.gain", "overlap"),
        ("comparison.gain", "inverse_probability"), ("depth.agreement", "reml"), ("depth.agreement", "sites"),
        ("depth.agreement", "sites_effective_df"), ("depth.proportional_bias", "reml"), ("gain.mixed", "corrected"),
        ("gain.mixed", "reml"), ("bone.marginal", "corrected"), ("bone.marginal", "reml"),
        ("measurement.icc", "reml_patient"), ("measurement.icc", "reml_site"),
        ("measurement.icc", "one_way_jackknife"), ("stability.isq", "patients"), ("stability.torque", "patients"),
    ], "variance components over n less the columns, weights that follow from them"),
    **dict.fromkeys([
        ("perforation.gee", "sandwich"), ("perforation.gee", "corrected"), ("perforation.rate", "cluster"),
        ("perforation.risk", "gee"), ("perforation.risk_band", "gee"), ("perforation.risk_difference", "gee"),
        ("perforation.risk_lift", "gee"), ("perforation.risk", "standardised"),
        ("perforation.risk_band", "standardised"), ("perforation.risk_difference", "standardised"),
        ("perforation.risk_lift", "standardised"), ("perforation.nonlinearity", "spline"),
        ("perforation.validation", "apparent"), ("perforation.validation", "leave_one_centre_out"),
    ], "the working correlation is a moment over N - p, and Mancl and DeRouen's a patient's leverage"),
    **dict.fromkeys([
        ("perforation.firth", "profile"), ("perforation.firth", "jackknife"),
        ("perforation.firth", "profile_or_jackknife"), ("perforation.risk", "firth"),
        ("perforation.risk_band", "firth"), ("perforation.risk_difference", "firth"),
        ("perforation.risk_lift", "firth"), ("survival.firth_cox", "profile"), ("survival.firth_cox", "jackknife"),
        ("survival.firth_cox", "profile_or_jackknife"),
    ], "Firth's penalty weighs half as much; the jackknife deletes a smaller share"),
    **dict.fromkeys([
        ("survival.cox", "sandwich"), ("survival.cox", "corrected"),
    ], "Efron's ties: two failures at once where there was one"),
}  # fmt: skip
# No factor for few patients stands in these: half the variance to the last digits.
WITHOUT_FACTOR = {
    ("survival.km", "infinitesimal_jackknife"), ("survival.competing", "infinitesimal_jackknife"),
    ("survival.rmst", "infinitesimal_jackknife"), ("survival.rmst_difference", "infinitesimal_jackknife"),
    ("survival.patient", "infinitesimal_jackknife"), ("survival.interval", "weibull"),
    ("survival.life_table", "actuarial"), ("sensitivity.detection_contrast", "cluster"),
}  # fmt: skip

Series = tuple[pd.DataFrame, pd.DataFrame]


def series(seed: int) -> Series:
    cases = invented_cases(N_PATIENTS, seed)
    return cases, invented_visits(cases, seed + 1)


def asked(cases: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """The rows of all questions, by their key."""
    found = [getattr(answer, "rows", answer) for answer in every_question(cases, visits).values()]
    rows = pd.concat([rows for rows in found if "analysis" in rows], ignore_index=True)
    return rows.set_index(KEY)[NUMBERS].astype(float)


@cache
def answers(seed: int, n_times: int = 1) -> pd.DataFrame:
    return asked(*times(series(seed), n_times))


def times(one: Series, n: int) -> Series:
    """Every patient n times over, under names of their own."""
    copies = [
        [table.assign(**{name: f"{k}" + table[name] for name in ("site_id", "patient_id") if name in table})
         for table in one]
        for k in range(n)
    ]  # fmt: skip
    return tuple(pd.concat(tables, ignore_index=True) for tables in zip(*copies, strict=True))


def renamed(one: Series) -> Series:
    """Names in the other direction, rows sorted by them as the intake sorts them."""
    cases, visits = one
    sites = {name: f"S{9999 - at}" for at, name in enumerate(cases["site_id"])}
    patients = {name: f"P{9999 - at}" for at, name in enumerate(cases["patient_id"].unique())}
    cases = cases.assign(site_id=cases["site_id"].map(sites), patient_id=cases["patient_id"].map(patients))
    visits = visits.assign(site_id=visits["site_id"].map(sites))
    return cases.sort_values("site_id", ignore_index=True), visits.sort_values(["site_id", "months"], ignore_index=True)


def with_one_unknown(one: Series) -> Series:
    """One patient more, of whose one site nobody knows how it went: no outcome, no log, no visit."""
    cases, visits = one
    unknown = {name: None for name in cases if name not in KNOWN}
    more = cases.tail(1).assign(site_id="U1", patient_id="U1")
    more = more.assign(**{name: pd.array([value], dtype=cases[name].dtype) for name, value in unknown.items()})
    more["perforation"] = pd.Categorical(["unknown"], categories=cases["perforation"].cat.categories)
    return pd.concat([cases, more], ignore_index=True), visits


KNOWN = {
    "site_id", "patient_id", "centre", "age_years", "smoking", "surgery_year", "approach", "protocol", "graft",
    "septum", "placement", "rbh_mid_mm", "rbh_band", "protrusion_mm", "planned_last_mm", "healing",
}  # fmt: skip


def differing(one: pd.DataFrame, other: pd.DataFrame) -> set[tuple[str, str]]:
    """Analysis and method of each row that is in one alone or has another number."""
    assert one.index.is_unique
    other = other.reindex(one.index.union(other.index, sort=False))
    one = one.reindex(other.index)
    same = np.isclose(one.to_numpy(), other.to_numpy(), rtol=1e-7, atol=1e-9, equal_nan=True).all(axis=1)
    return {(analysis, method) for analysis, _, _, method in one.index[~same]}


@pytest.mark.parametrize("seed", SEEDS)
def test_other_names_in_another_order_change_no_answer(seed):
    found = differing(answers(seed), asked(*renamed(series(seed))))
    assert {one for one in found if one[0] != BY_POSITION} <= DRAWN


@pytest.mark.parametrize("seed", SEEDS)
def test_a_site_of_which_nobody_knows_how_it_ended_changes_no_estimate(seed):
    found = differing(answers(seed), asked(*with_one_unknown(series(seed))))
    assert {analysis for analysis, _ in found} - {BY_POSITION} <= {*COUNTS_ALL}


@pytest.mark.parametrize("seed", SEEDS)
def test_twice_the_patients_are_half_of_each_clustered_variance(seed):
    """Times the known factor: of the form m / (m - 1), m a number of patients, it becomes 2 m / (2 m - 1).

    What is halved but nearly (`NEARLY` says why) is so the more nearly the more patients there are.
    """
    one, two, four = (answers(seed, n) for n in (1, 2, 4))
    ratio = 2 * (two["std_error"] / one["std_error"]) ** 2
    left_out = ratio.index.get_level_values("analysis").isin([BY_POSITION, BY_EVENTS]) | _of(ratio, DRAWN)
    ratio = ratio[ratio.notna() & ~left_out]
    assert len(ratio) > 300
    nearly, exact = ratio[_of(ratio, NEARLY)], ratio[~_of(ratio, NEARLY)]
    plain = np.isclose(exact, 1, rtol=1e-7)
    assert plain[_of(exact, WITHOUT_FACTOR)].all()
    m = (2 - exact) / (2 - 2 * exact.where(~plain))
    known = np.isclose(m, m.round(), rtol=1e-4) & m.round().between(2, N_PATIENTS)
    assert sorted(exact.index[~plain & ~known]) == []
    same = np.isclose(*(table["estimate"].reindex(exact.index) for table in (one, two)), rtol=1e-7, atol=1e-9)
    assert sorted(exact.index[~same]) == []
    further = (2 * (four["std_error"] / two["std_error"]) ** 2).reindex(nearly.index)
    assert nearly.between(0.65, 1.35).all(), nearly[~nearly.between(0.65, 1.35)]
    off, further_off = np.abs(np.log(nearly)), np.abs(np.log(further))
    assert sorted(nearly.index[further_off > np.maximum(off, A_LITTLE)]) == []


def _of(rows: pd.Series, named) -> np.ndarray:
    return np.array([(analysis, method) in named for analysis, _, _, method in rows.index])
