"""The guard: who separates is found exactly and named; what overlaps is let through."""

import itertools

import numpy as np
import pandas as pd
import pytest
from firthmodels import detect_separation
from scipy.optimize import linprog

from liftseries.estimators.intervals import NotFitted
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.shared import separation
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.results import Fit
from liftseries.models.shared.separation import coefficient_row, refuse_infinite_hazards, refuse_infinite_odds
from liftseries.models.survival.cox import fit_survival_cox

TERMS = ["rbh_mid_mm", "surgery_year", "protocol"]


def small_table(rng, n):
    """Few values each, so that ties, empty cells and separation are common."""
    return pd.DataFrame(
        {
            "rbh_mid_mm": rng.integers(20, 28, n) * 0.1,
            "surgery_year": rng.integers(2015, 2020, n),
            "protocol": rng.choice(["A", "B", "C"], n),
        }
    )


def refused(guard, *data) -> str:
    try:
        guard(*data)
    except NotFitted as why:
        return str(why)
    return ""


# --- odds -----------------------------------------------------------------


def test_odds_are_refused_exactly_where_another_programme_finds_separation():
    """Oracle: firthmodels.detect_separation, after Konis 2007; both answers are common among these small tables."""
    answers = []
    for seed in range(250):
        rng = np.random.default_rng(seed)
        n = rng.integers(4, 40)
        table = small_table(rng, n)
        event = rng.random(n) < 1 / (1 + np.exp(-rng.choice([0, 5, 20]) * (table["rbh_mid_mm"] - 2.35)))
        design = design_matrix(table, TERMS)
        if event.all() or not event.any() or len(design.names) < 2:
            continue
        told = refused(refuse_infinite_odds, design, event.to_numpy())
        assert bool(told) == detect_separation(design.matrix[:, 1:], event.astype(int)).separation
        answers.append(bool(told))
    assert 40 < sum(answers) < len(answers) - 40


def test_an_overlap_is_only_proven_where_the_programme_agrees():
    """The short way must never let a separating term through, and must spare the programme most of the time."""
    spared = overlapping = 0
    for seed in range(150):
        rng = np.random.default_rng(seed)
        n = rng.integers(4, 60)
        x = design_matrix(small_table(rng, n), TERMS).matrix
        event = np.r_[True, False, rng.random(n - 2) < 0.4]
        proven, separated = separation._odds_overlap(x, event), separation._separates(x, event)
        assert not (proven and separated)
        spared += proven
        overlapping += not separated
    assert spared > 0.9 * overlapping > 50


def odds_message(one_site_each, event, **columns):
    return refused(refuse_infinite_odds, design_matrix(one_site_each(**columns), list(columns)), np.array(event, bool))


def test_a_number_without_overlap_is_named(one_site_each):
    told = odds_message(one_site_each, [1, 1, 0, 0, 0], rbh_mid_mm=[2.0, 3, 4, 5, 6], isq=[60, 70, 65, 72, 61])
    assert told == (
        "rbh_mid_mm tells perforated sites from the others without overlap, so rbh_mid_mm has no finite odds ratio; "
        "see perforation.firth"
    )


def test_a_number_that_only_touches_is_named_too(one_site_each):
    """Quasi-complete: one site of either kind at 4 mm."""
    told = odds_message(one_site_each, [1, 1, 0, 0, 0], rbh_mid_mm=[2.0, 4, 4, 5, 6])
    assert told.startswith("rbh_mid_mm tells")
    assert odds_message(one_site_each, [1, 1, 0, 1, 0], rbh_mid_mm=[2.0, 4, 4, 5, 6]) == ""


def test_a_combination_is_named_with_its_level_and_without_those_that_play_no_part(one_site_each):
    """Freehand perforates below 4 mm, guided below 6 mm; either alone overlaps, and so does isq."""
    rbh = [3.0, 3.5, 4.5, 5.0, 6.5, 5.0, 4.0, 5.5, 6.5, 7.0]
    approach = ["freehand"] * 5 + ["guided"] * 5
    event = [r < (4 if a == "freehand" else 6) for r, a in zip(rbh, approach, strict=True)]
    isq = [60, 70, 61, 71, 62, 72, 63, 73, 64, 74]
    told = odds_message(one_site_each, event, isq=isq, rbh_mid_mm=rbh, approach=approach)
    assert told == (
        "rbh_mid_mm and approach[guided] together tell perforated sites from the others without overlap, so they have "
        "no finite odds ratio; see perforation.firth"
    )


def test_a_level_is_told_first_as_the_clinic_would_say_it(one_site_each):
    approach = ["guided"] * 3 + ["freehand"] * 4
    told = odds_message(one_site_each, [0, 0, 0, 1, 0, 1, 0], approach=approach)
    ending = "so approach has no finite odds ratio; see perforation.firth"
    assert told == f"no site with approach = guided was perforated, {ending}"
    told = odds_message(one_site_each, [0, 1, 0, 1, 1, 1, 1], approach=approach)
    assert told == f"every site with approach = freehand was perforated, {ending}"


# --- hazards --------------------------------------------------------------


def by_all_pairs(x, months, failed) -> bool:
    """The definition: (x_i - x_j)·g ≥ 0 for every failure i and each j at risk with it, > 0 for some."""
    pairs = [x[i] - x[j] for i in np.flatnonzero(failed) for j in np.flatnonzero(months >= months[i])]
    pairs = np.unique(pairs, axis=0)
    found = linprog(-pairs.sum(axis=0), A_ub=-pairs, b_ub=np.zeros(len(pairs)), bounds=(-1, 1))
    return -found.fun > 1e-6


def test_hazards_are_refused_exactly_where_the_definition_holds():
    answers = []
    for seed in range(250):
        rng = np.random.default_rng(seed)
        n = rng.integers(4, 30)
        table, months = small_table(rng, n), rng.integers(0, 6, n).astype(float)
        failed = np.r_[True, rng.random(n - 1) < rng.choice([0.1, 0.3])]
        design = design_matrix(table, ["rbh_mid_mm", "surgery_year"], intercept=False)
        if len(design.names) < 2:
            continue
        x = (design.matrix - design.matrix.mean(axis=0)) / design.matrix.std(axis=0)
        told = refused(refuse_infinite_hazards, design, months, failed)
        assert bool(told) == by_all_pairs(x, months, failed)
        answers.append(bool(told))
    assert 40 < sum(answers) < len(answers) - 40


def test_a_maximum_is_only_proven_where_the_programme_agrees():
    spared = overlapping = 0
    for seed in range(150):
        rng = np.random.default_rng(seed)
        n = rng.integers(4, 60)
        x = design_matrix(small_table(rng, n), TERMS, intercept=False).matrix
        failed = np.r_[True, rng.random(n - 1) < rng.choice([0.1, 0.4])]
        months = rng.integers(0, 9, n)
        last = np.searchsorted(np.unique(months[failed]), months, side="right") - 1
        data = x[last >= 0], last[last >= 0], failed[last >= 0]
        proven, monotone = separation._hazards_overlap(*data), separation._is_monotone(*data)
        assert not (proven and monotone)
        spared += proven
        overlapping += not monotone
    assert spared > 0.9 * overlapping > 50


def hazard_message(one_site_each, months, failed, **columns):
    design = design_matrix(one_site_each(**columns), list(columns), intercept=False)
    return refused(refuse_infinite_hazards, design, np.array(months, float), np.array(failed, bool))


def test_failures_in_the_order_of_a_number_are_named(one_site_each):
    """Each failure had the lowest ridge of those still at risk; the highest of all left early, before any failure."""
    columns = {"rbh_mid_mm": [3.0, 4, 5, 2, 6], "isq": [60, 70, 65, 72, 61]}
    told = hazard_message(one_site_each, [2, 3, 9, 1, 9], [1, 1, 0, 0, 0], **columns)
    assert told == (
        "whenever an implant failed, it stood at an extreme of rbh_mid_mm among those at risk, so rbh_mid_mm has no "
        "finite hazard ratio; see survival.firth_cox"
    )
    assert hazard_message(one_site_each, [2, 3, 9, 2, 9], [1, 1, 0, 0, 0], **columns) != told


def test_a_level_without_failure_is_told_first(one_site_each):
    told = hazard_message(
        one_site_each, [1, 2, 3, 4], [1, 1, 0, 0], approach=["guided", "guided", "guided", "freehand"]
    )
    assert told == (
        "no implant with approach = freehand has failed, so approach has no finite hazard ratio; see survival.firth_cox"
    )


# --- rows -----------------------------------------------------------------


@pytest.mark.parametrize(("scale", "words"), [("log_odds", "15 log odds"), ("log_hazard", "15 log hazards")])
def test_no_strange_coefficient_leaves_without_a_problem(scale, words):
    fit = Fit(analysis="a", subset="all", scale=scale, method="m", n_sites=9, n_patients=9)
    assert coefficient_row(fit, "rbh_mid_mm", 15.0, 1.0)["problem"] == ""
    for estimate in (15.1, -400.0):
        row = coefficient_row(fit, "rbh_mid_mm", estimate, 1.0)
        assert row["estimate"] == estimate
        assert words in row["problem"]
        assert "unit is large" in row["problem"]
    assert "every term is 0" in coefficient_row(fit, "(intercept)", -16.0, 1.0)["problem"]
    none = coefficient_row(fit, "rbh_mid_mm", 1.0, 0.0)
    assert np.isnan(none["estimate"])
    assert "standard error is zero" in none["problem"]


def test_a_perforation_model_says_which_term_separates(many_cases):
    perforation = np.where(many_cases["rbh_mid_mm"] < 4, "yes", "no")
    rows = fit_perforation_gee(many_cases.assign(perforation=perforation), ["approach", "rbh_mid_mm"]).rows
    assert rows["estimate"].isna().all()
    assert rows["problem"].str.startswith("rbh_mid_mm tells perforated sites").all()


def test_a_covariate_measured_in_kilometres_is_remarked_on_in_a_hazard_model(many_cases):
    rng = np.random.default_rng(1)
    implants = many_cases.assign(months=rng.exponential(50, len(many_cases)), failed=rng.random(len(many_cases)) < 0.3)
    in_mm = fit_survival_cox(implants, ["rbh_mid_mm"]).rows.loc[0]
    in_km = fit_survival_cox(implants.assign(rbh_mid_mm=implants["rbh_mid_mm"] / 1e6), ["rbh_mid_mm"]).rows.loc[0]
    assert in_mm["problem"] == ""
    assert in_km["estimate"] == pytest.approx(in_mm["estimate"] * 1e6)
    assert "unit is large" in in_km["problem"]


def test_design_effects_of_the_gee_are_over_an_ordinary_logistic_regression(many_cases):
    """Oracle for the variance of independent sites: statsmodels' Logit."""
    from statsmodels.discrete.discrete_model import Logit

    estimates = fit_perforation_gee(many_cases, ["rbh_mid_mm", "approach"])
    assert estimates.rows["method"].tolist() == ["sandwich"] * 3 + ["corrected"] * 3
    design = design_matrix(many_cases, ["rbh_mid_mm", "approach"])
    event = many_cases["perforation"].eq("yes").to_numpy(float)
    naive = Logit(event, design.matrix).fit(disp=0, method="newton", tol=1e-12).bse
    expected = (estimates.rows["std_error"].to_numpy() / np.tile(naive, 2)) ** 2
    np.testing.assert_allclose(estimates.design_effects["estimate"], expected, rtol=1e-8)
    assert estimates.design_effects["term"].tolist() == [f"perforation.gee {name}" for name in design.names] * 2
    assert estimates.design_effects["analysis"].eq("clustering.design_effect").all()


def test_a_cell_without_an_event_is_no_separation(one_site_each):
    """Two empty cells separate nothing in an additive model; an empty level would."""
    cells = list(itertools.product(["guided", "freehand"], ["A", "B", "C"])) * 2
    event = [0, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0]
    columns = {"approach": [a for a, _ in cells], "protocol": [p for _, p in cells]}
    assert odds_message(one_site_each, event, **columns) == ""
