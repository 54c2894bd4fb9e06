"""Bias and limits of agreement over the sites: by hand, and left out patient by patient."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.read import fit_depth_read, readings

CLUSTERED = [1, 1, 1, 2, 2, 3, 4, 4, 5], [0.0, 0.5, 1.0, -0.5, 0.0, 0.2, 1.5, 1.0, -1.0]


def rows_of(patient, error_mm, method="sites"):
    cases = pd.DataFrame({"patient_id": patient, "achieved_last_mm": np.add(error_mm, 6.0), "planned_last_mm": 6.0})
    rows = fit_depth_agreement(cases).rows
    return rows[rows["method"].eq(method)].set_index("term")


def test_three_sites_of_three_patients_by_hand():
    """Errors -1, 0, 1 mm: bias 0, SE √(3/2 · 2) / 3 = 1/√3, limits ± 1.96 SD with SD 1; t(2).

    Without one of them the lower limit is 0.5 - 1.96/√2 = -0.8859, -1.96 √2 = -2.7718 or -0.5 - 1.96/√2 = -1.8859, so
    its jackknife variance is 2/3 (0.9620² + 0.9239² + 0.0380²) = 1.1870.
    """
    rows = rows_of([1, 2, 3], [-1.0, 0.0, 1.0])
    assert rows["estimate"].tolist() == pytest.approx([0, -1.96, 1.96], abs=1e-12)
    assert rows.loc["bias", "std_error"] == pytest.approx(1 / np.sqrt(3))
    assert rows.loc[["low", "high"], "std_error"].tolist() == pytest.approx([1.08950] * 2, abs=1e-5)
    half = 4.302653 * rows["std_error"]  # t(2), printed tables
    assert (rows["conf_high"] - rows["estimate"]).tolist() == pytest.approx(half.tolist(), rel=1e-6)
    assert rows["df"].tolist() == [2, 2, 2]


def test_sites_of_a_patient_go_together():
    """Written out: every sum and every deletion in turn."""
    patient, d = (np.array(one) for one in CLUSTERED)
    rows, k, n = rows_of(patient, d), 5, 9
    sums = [d[patient == one].sum() - (patient == one).sum() * d.mean() for one in np.unique(patient)]
    assert rows.loc["bias", "std_error"] == pytest.approx(np.sqrt(k / (k - 1) * np.square(sums).sum()) / n, rel=1e-12)
    for term, sign in (("low", -1), ("high", 1)):
        left = [d[patient != one].mean() + sign * 1.96 * d[patient != one].std(ddof=1) for one in np.unique(patient)]
        error = np.sqrt((k - 1) / k * np.square(left - np.mean(left)).sum())
        assert rows.loc[term, "estimate"] == pytest.approx(d.mean() + sign * 1.96 * d.std(ddof=1), rel=1e-12)
        assert rows.loc[term, "std_error"] == pytest.approx(error, rel=1e-12)
        width = rows.loc[term, "conf_high"] - rows.loc[term, "conf_low"]
        assert width == pytest.approx(2 * stats.t.ppf(0.975, k - 1) * error, rel=1e-6)


def test_the_mixed_model_stands_beside_it_and_is_no_headline():
    rows = rows_of(*CLUSTERED, method="reml")
    assert rows["estimate"].notna().all()
    assert not rows["headline"].any()


def test_two_patients_of_a_site_each_have_a_bias_and_no_limits():
    rows = rows_of([1, 2], [0.0, 1.0])
    assert rows.loc["bias", "estimate"] == 0.5
    assert rows.loc[["low", "high"], "problem"].str.contains("too few patients").all()
    assert rows["headline"].tolist() == [True, False, False]


# ── depth.read ────────────────────────────────────────────────────────────────────────────────────

LOG = pd.DataFrame(
    [
        # site, step, finding, advance (none: a gauge), deepest before, read
        ("a", 1, "not_tested", 4.0, 0.0, None),
        ("a", 2, "closed", None, 4.0, 4.2),
        ("a", 3, "not_tested", 1.0, 4.0, 5.0),  # a drill pass: nothing is read on a gauge
        ("a", 4, "not_tested", None, 5.0, 4.9),
        ("a", 5, "open", None, 5.0, 6.5),  # found open by this very pass
        ("a", 6, "closed", None, 5.0, 5.0),  # open before
        ("b", 2, "closed", None, 3.0, 3.0),
        ("b", 1, "open", 3.0, 0.0, None),  # comes first, and opens
        ("c", 1, "not_tested", None, 0.0, None),
        ("c", 2, "closed", None, 0.0, 0.1),
    ],
    columns=["site_id", "step_no", "finding", "advance_mm", "deepest_before_mm", "read_depth_mm"],
).astype({"advance_mm": float, "read_depth_mm": float})


def test_readings_count_while_the_floor_is_not_yet_open():
    assert list(readings(LOG)[["site_id", "step_no"]].itertuples(index=False, name=None)) == [
        ("a", 2),
        ("a", 4),
        ("c", 2),
    ]


def test_a_reading_less_the_hole_is_positive_where_the_gauge_read_deeper():
    cases = pd.DataFrame({"site_id": ["a", "b", "c"], "patient_id": ["p", "p", "q"]})
    estimates = fit_depth_read(cases, LOG)
    rows = estimates.rows[estimates.rows["method"].eq("sites")].set_index("term")
    assert rows.loc["bias", "estimate"] == pytest.approx((0.2 - 0.1 + 0.1) / 3)
    assert rows.loc["bias", ["n_sites", "n_patients"]].tolist() == [2, 2]
    assert estimates.left_out["n_sites"].tolist() == [1]


def test_without_a_log_or_a_reading_the_row_says_so():
    cases = pd.DataFrame({"site_id": ["a", "b"], "patient_id": ["p", "q"]})
    for log in (LOG.iloc[:0], LOG.assign(read_depth_mm=np.nan), pd.DataFrame(columns=list(LOG))):
        rows = fit_depth_read(cases, log).rows
        assert rows["estimate"].isna().all()
        assert rows["problem"].str.contains("no depth was read").all()


def test_limits_that_the_clustering_narrows_are_warned_of():
    """Each patient has one site 1 mm deep and one 1 mm short, so that neither sums nor limits scatter."""
    wobble = np.tile([0.01, -0.01, 0.02], 4)
    rows = rows_of(np.repeat(np.arange(12), 2), np.column_stack([1 + wobble, -1 - wobble / 2]).ravel())
    assert rows["note"].str.contains("an alarm, no gain in precision").all()
    assert not rows_of(np.arange(12), wobble)["note"].str.contains("alarm").any()


def test_limits_are_quoted_with_as_many_degrees_of_freedom_as_patients_carry_them():
    """K equal shares of the variance come to K - 1 at most; one patient that carries nearly all of it to 1."""
    from liftseries.models.depth.limits import effective_df

    assert effective_df(np.array([[1.0, 1, 1, 1, 1]])) == 4
    assert effective_df(np.array([[9.0, 0.001, 0.001, 0.001]])) == pytest.approx(1, abs=0.01)
    # u = 4, 1, 1, 1, 1, 1, 1, 1, 1, 1: 3 · 13² / 25 - 2
    assert effective_df(np.array([[4.0, *[1.0] * 9]])) == 9
    assert effective_df(np.array([[4.0, 2.0, *[0.0] * 8]])) == pytest.approx(3 * 36 / 20 - 2)


def test_the_quoted_limits_are_the_same_limits_with_their_own_degrees_of_freedom():
    rng = np.random.default_rng(4)
    patient = np.repeat(np.arange(20), rng.integers(1, 6, 20))
    error = rng.normal(0, 0.4, 20)[patient] + rng.normal(0, 0.3, len(patient))
    plain, quoted = (rows_of(patient, error, method) for method in ("sites", "sites_effective_df"))
    for term in ("low", "high"):
        assert plain.loc[term, "estimate"] == quoted.loc[term, "estimate"]
        assert plain.loc[term, "std_error"] == quoted.loc[term, "std_error"]
        assert 1 <= quoted.loc[term, "df"] <= plain.loc[term, "df"] == 19
        assert (plain.loc[term, "headline"], quoted.loc[term, "headline"]) == (False, True)
    assert plain.loc["bias", "headline"]
    assert "bias" not in quoted.index
