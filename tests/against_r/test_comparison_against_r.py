"""A comparison of two groups against R (comparison.R): estimates, and errors from numerical derivatives by patient."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.survival import fit_comparison_survival

METHODS = ("crude", "g_computation", "overlap", "inverse_probability")
ASKED = {
    "groups": "septum",
    "reference": "no",
    "adjust_for": ["rbh_mid_mm", "smoker"],
    "weights": ["overlap", "inverse_probability"],
}


@pytest.fixture(scope="module")
def cases(series):
    return pd.DataFrame(
        {
            "site_id": [f"S{i}" for i in range(len(series))],
            "patient_id": series["patient_id"],
            "septum": pd.Categorical(np.where(series["septa"] == 1, "yes", "no"), categories=["no", "yes"]),
            "smoker": series["smoker"],
            "rbh_mid_mm": series["residual_bone_mm"],
            "perforation": np.where(series["perforation"] == 1, "yes", "no"),
            "as_drilled": None,
            "months": series["time_months"].astype(float),
            "failed": series["status"] == 1,
        }
    )


@pytest.mark.parametrize("method", METHODS)
def test_risks_differences_and_ratios(cases, r_rows, method):
    """The crude risks' own error is that of perforation.rate; R's is by influence as that of the contrasts."""
    rows = fit_comparison_perforation(cases.drop(columns=["months", "failed"]), **ASKED).rows
    rows = rows[rows["analysis"].eq("comparison.perforation") & rows["subset"].eq("all") & rows["method"].eq(method)]
    rows, r = rows.set_index("term"), r_rows("comparison", f"risk {method}")
    terms = {"risk[no]": "0", "risk[yes]": "1", "difference[yes]": "difference", "ratio[yes]": "log ratio"}
    for term, name in terms.items():
        assert rows.loc[term, "problem"] == ""
        assert rows.loc[term, "estimate"] == pytest.approx(r.loc[name, "value"], rel=1e-7)
        if method != "crude" or not term.startswith("risk"):
            assert rows.loc[term, "std_error"] == pytest.approx(r.loc[name, "se"], rel=1e-5)


@pytest.mark.parametrize("method", METHODS)
def test_survival_at_36_months(cases, r_rows, method):
    rows = fit_comparison_survival(cases, cases, [36.0], **ASKED).rows
    rows = rows[rows["analysis"].eq("comparison.survival") & rows["subset"].eq("all") & rows["method"].eq(method)]
    rows, r = rows.set_index("term"), r_rows("comparison", f"survival {method}")
    terms = {"survival[no] at 36": "0", "survival[yes] at 36": "1", "difference[yes] at 36": "difference"}
    for term, name in terms.items():
        assert rows.loc[term, "problem"] == ""
        assert rows.loc[term, "estimate"] == pytest.approx(r.loc[name, "value"], rel=1e-7)
        if method != "crude" or not term.startswith("survival"):
            assert rows.loc[term, "std_error"] == pytest.approx(r.loc[name, "se"], rel=1e-5)
