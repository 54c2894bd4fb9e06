"""Marginal bone, worked by hand: means and shares at a month, edges, gates, and series that say nothing."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from liftseries.models.gain.marginal import fit_bone_marginal

# Patients a (two sites), b, c, d, e: six sites.
PATIENTS = ["a", "a", "b", "c", "d", "e"]
LEVELS = [0.5, 1.5, 2.0, 2.1, 0.4, 3.0]


@pytest.fixture
def cases() -> pd.DataFrame:
    healing = ["submerged", "transmucosal"] * 3
    return pd.DataFrame({"site_id": list("uvwxyz"), "patient_id": PATIENTS, "healing": healing})


def visits_of(levels, months=12.0) -> pd.DataFrame:
    return pd.DataFrame({"site_id": list("uvwxyz")[: len(levels)], "months": months, "marginal_bone_mm": levels})


def at(estimates, term):
    (row,) = estimates.rows[estimates.rows["term"].eq(term) & estimates.rows["method"].eq("patients")].to_dict(
        "records"
    )
    return row


def test_mean_is_over_sites_and_its_variance_over_patients(cases):
    """Mean 9.5 / 6; patient a's two sites add up before they are squared; K / (K - 1) = 5 / 4, t(4)."""
    row = at(fit_bone_marginal(visits_of(LEVELS), cases, [12]), "mean at 12")
    mean = 9.5 / 6
    sums = [2.0 - 2 * mean, 2.0 - mean, 2.1 - mean, 0.4 - mean, 3.0 - mean]
    se = np.sqrt(5 / 4 * sum(one**2 for one in sums)) / 6
    assert row["estimate"] == pytest.approx(mean)
    assert row["std_error"] == pytest.approx(se)
    assert (row["conf_low"], row["conf_high"]) == pytest.approx(
        (mean - t.ppf(0.975, 4) * se, mean + t.ppf(0.975, 4) * se)
    )
    assert (row["n_sites"], row["n_patients"], row["df"], row["scale"]) == (6, 5, 4, "mm")
    assert row["headline"]


def test_two_millimetres_are_not_beyond_two(cases):
    """2.1 and 3.0 of six are, 2.0 is not: p = 2/6, m = 2, Σ (x - n p)² = (2/3)² + (1/3)² + (2/3)² + (1/3)² + (2/3)²."""
    row = at(fit_bone_marginal(visits_of(LEVELS), cases, [12]), "beyond 2 at 12")
    assert (row["estimate"], row["n_events"], row["scale"]) == (2 / 6, 2, "risk")
    assert row["std_error"] == pytest.approx(np.sqrt(2 / 1 * (3 * 4 / 9 + 2 * 1 / 9)) / 6)
    assert 0 < row["conf_low"] < 2 / 6 < row["conf_high"] < 1


def test_nobody_beyond_has_the_bound_of_one_side(cases):
    row = at(fit_bone_marginal(visits_of([0.1, 0.2, 0.3, 0.4, 0.5, 0.6]), cases, [12]), "beyond 2 at 12")
    assert (row["estimate"], row["conf_low"]) == (0, 0)
    assert row["conf_high"] == pytest.approx(1 - 0.05 ** (1 / 5))
    assert row["headline"]


@pytest.mark.parametrize(("months", "n"), [(8.9, 0), (9.0, 6), (15.0, 6), (15.1, 0)])
def test_a_visit_counts_up_to_three_months_away(cases, months, n):
    estimates = fit_bone_marginal(visits_of(LEVELS, months), cases, [12])
    row = at(estimates, "mean at 12")
    assert row["n_sites"] == n
    if n == 0:
        assert row["problem"] == "no site was measured within 3 months of month 12"
        assert at(estimates, "beyond 2 at 12")["problem"] == row["problem"]


@pytest.mark.parametrize(("n", "headline"), [(4, False), (5, True)])
def test_a_mean_of_fewer_than_five_is_no_headline(cases, n, headline):
    estimates = fit_bone_marginal(visits_of(LEVELS[:n]), cases, [12])
    for term in ("mean at 12", "beyond 2 at 12"):
        row = at(estimates, term)
        assert not np.isnan(row["estimate"])
        assert row["headline"] == headline
        assert ("4 measurements: too few to quote" in row["note"]) != headline


def test_a_site_without_an_implant_has_no_marginal_bone(cases):
    cases = cases.assign(placement=["none"] + ["same_day"] * 5)
    estimates = fit_bone_marginal(visits_of(LEVELS), cases, [12])
    assert at(estimates, "mean at 12")["n_sites"] == 5
    assert estimates.left_out[["reason", "n_sites"]].to_numpy().tolist() == [["no implant placed", 1]]


def test_sites_left_out_are_counted_once(cases):
    cases["healing"] = ["submerged", None, "submerged", "transmucosal", "submerged", "transmucosal"]
    estimates = fit_bone_marginal(visits_of(LEVELS[:5]), cases, [12])
    reasons = dict(estimates.left_out[["reason", "n_sites"]].to_numpy())
    assert reasons == {"healing unknown": 1, "no visit with a marginal bone level": 1}


def test_model_on_months_and_healing(many_cases, many_visits):
    rows = fit_bone_marginal(many_visits, many_cases, []).rows
    assert rows.loc[rows["method"].eq("corrected"), "term"].tolist() == [
        "(intercept)", "months", "healing[transmucosal]", "change per year",
    ]  # fmt: skip
    assert rows["headline"].eq(rows["method"].eq("corrected")).all()
    slope = rows.set_index(["term", "method"]).loc[("months", "corrected"), "estimate"]
    assert slope == pytest.approx(2 / 150, rel=0.3)  # as the series was drawn: a gamma of shape 2


def test_healing_of_one_level_is_left_out_of_the_model(many_cases, many_visits):
    rows = fit_bone_marginal(many_visits, many_cases.assign(healing="submerged"), [12]).rows.set_index("term")
    assert rows.loc["healing", "problem"].str.contains("does not vary").all()
    assert rows.loc["months", "estimate"].notna().all()


def test_no_marginal_bone_at_all(many_cases, many_visits):
    for visits in (many_visits.assign(marginal_bone_mm=np.nan), many_visits.drop(columns="marginal_bone_mm")):
        estimates = fit_bone_marginal(visits, many_cases, [12])
        assert estimates.rows["estimate"].isna().all()
        assert estimates.rows["problem"].ne("").all()
        assert estimates.by_visit.empty
        assert estimates.left_out["n_sites"].tolist() == [len(many_cases)]


def test_one_patient_has_no_interval(cases):
    estimates = fit_bone_marginal(visits_of(LEVELS), cases.assign(patient_id="a"), [12])
    for term in ("mean at 12", "beyond 2 at 12"):
        assert at(estimates, term)["problem"] == "all sites belong to one patient"
