"""The quoted share of sites: x / n whatever the patients' numbers of sites, and what holds with one patient or none."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta

from liftseries.estimators.gee import logistic_gee
from liftseries.models.perforation.rate import fit_perforation_rate


def cases_of(patients):
    """A row a site of patients given as (sites perforated, sites)."""
    rows = [(k, "yes" if site < torn else "no") for k, (torn, n) in enumerate(patients) for site in range(n)]
    table = pd.DataFrame(rows, columns=["patient_id", "perforation"])
    return table.assign(site_id=np.arange(len(table)), rbh_mid_mm=5.0 - 0.1 * table["patient_id"], approach="guided")


def rate(patients, **columns):
    return fit_perforation_rate(cases_of(patients).assign(**columns)).rows.set_index("method")


def test_patients_with_many_sites_who_tear_less_count_by_their_sites():
    """20 patients with one site, 10 torn; 20 with four, each with one torn in two: 10 + 10 of 20 + 80.

    The share is 20 / 100 exactly. Patients' residuals x - n p: ±0.8, 0.2 of the first, 0.2 and -0.8 of the others:
    10 (0.64 + 0.04) + 10 (0.04 + 0.64) = 13.6; m = 20, so the variance is 20 / 19 x 13.6 / 100².
    """
    rows = rate([(1, 1)] * 10 + [(0, 1)] * 10 + [(1, 4)] * 10 + [(0, 4)] * 10)
    quoted = rows.loc["patients"]
    assert quoted["estimate"] == 0.2
    assert quoted["headline"]
    assert quoted["std_error"] == pytest.approx(np.sqrt(20 / 19 * 13.6) / 100)
    assert quoted["df"] == 39
    half = 2.0226909200367604 * quoted["std_error"] / (0.2 * 0.8)  # t(39)
    limits = 1 / (1 + np.exp(-(np.log(0.25) + np.array([-half, half]))))
    assert quoted[["conf_low", "conf_high"]].tolist() == pytest.approx(limits.tolist())


def test_the_gee_weighs_patients_and_gives_another_share():
    """Alike within patients: a patient of four counts for less than four, and those are the ones who tear less."""
    rows = rate([(1, 1)] * 10 + [(0, 1)] * 10 + [(4, 4)] * 3 + [(0, 4)] * 17)
    assert rows.loc["patients", "estimate"] == 22 / 100
    assert rows.loc["cluster", "estimate"] > 0.25
    assert not rows["headline"].drop("patients").any()


def test_a_correlation_below_zero_is_said_and_large_patients_then_weigh_more():
    """Never two torn sites in a patient: pairs of residuals multiply to less than nothing.

    A GEE's share is Σ w x / n over Σ w with w = n / (1 + (n - 1) α), so that α < 0 makes large patients count for more
    than their sites: 20 single ones, 3 torn, and 20 of three, 9 torn.
    """
    rows = rate([(1, 1)] * 3 + [(0, 1)] * 17 + [(1, 3)] * 9 + [(0, 3)] * 11)
    note = rows.loc["cluster", "note"]
    assert "below 0: sites of patients with many sites weigh more than those of others" in note
    patient = np.r_[np.arange(20), np.repeat(np.arange(20, 40), 3)]
    torn = np.r_[np.arange(20) < 3, np.tile([True, False, False], 9), np.zeros(33, bool)]
    alpha = logistic_gee(np.ones((80, 1)), torn, patient).alpha
    assert alpha < 0
    w = np.repeat([1, 3 / (1 + 2 * alpha)], 20)
    share = (w * np.repeat([3 / 20, 9 / 60], 20)).sum() / w.sum()
    assert rows.loc["cluster", "estimate"] == pytest.approx(share, rel=1e-7)
    assert rows.loc["patients", "estimate"] == 12 / 80
    assert rows.loc["patients", "note"] == ""


def test_one_patient_with_the_outcome_has_the_exact_interval_of_one_in_all():
    """Three torn sites of one patient among 20 with two sites but that one: 3 of 41; 1 of 20 is 0.13 to 24.9 %."""
    row = rate([(3, 3)] + [(0, 2)] * 19).loc["patients"]
    low, high = beta.ppf(0.025, 1, 20), beta.ppf(0.975, 2, 19)
    assert row[["estimate", "conf_low", "conf_high"]].tolist() == pytest.approx([3 / 41, low, high])
    assert np.isnan(row["std_error"])
    assert row["note"] == "the exact interval of one patient among all, widened to hold the share"
    assert row["headline"]


def test_without_the_outcome_there_is_a_bound_and_with_one_patient_a_problem():
    row = rate([(0, 2)] * 30).loc["patients"]
    assert row[["estimate", "conf_low", "conf_high"]].tolist() == pytest.approx([0, 0, 1 - 0.05 ** (1 / 30)])
    assert row["headline"]
    row = rate([(1, 5)]).loc["patients"]
    assert np.isnan(row["estimate"])
    assert row["problem"] == "all sites belong to one patient"
    assert not row["headline"]


def test_patients_who_cancel_out_have_their_share_and_no_interval():
    row = rate([(1, 2)] * 12).loc["patients"]
    assert row["estimate"] == 0.5
    assert "standard error is zero" in row["problem"]
    assert not row["headline"]


@pytest.mark.parametrize(("n_torn", "listed"), [(0, 0), (1, 1), (4, 4), (5, 0)])
def test_the_cases_are_listed_where_there_are_too_few_for_a_ratio(n_torn, listed):
    cases = cases_of([(1, 1)] * n_torn + [(0, 1)] * 20)
    found = fit_perforation_rate(cases).few_cases
    assert found.columns.tolist() == ["rbh_mid_mm", "approach", "perforation_stage"]
    assert len(found) == listed
    assert found["rbh_mid_mm"].is_monotonic_increasing


def test_every_subset_has_a_quoted_row():
    cases = cases_of([(1, 2)] * 6 + [(0, 2)] * 10)
    cases["approach"] = np.where(np.arange(len(cases)) % 2, "guided", "freehand")
    rows = fit_perforation_rate(cases, ["approach"]).rows
    assert rows.groupby("subset")["headline"].sum().to_dict() == {
        "all": 1,
        "approach=freehand": 1,
        "approach=guided": 1,
    }
    assert rows.groupby("subset")["method"].first().eq("patients").all()
