"""Limits of agreement, intraclass correlations and Rubin's rules against R (agreement.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.depth_agreement import fit_depth_agreement
from liftseries.models.estimators.rubin import pooled
from liftseries.models.estimators.variance_components import icc_jackknife, one_way

CLOSED_FORM = 1e-10
# l/min, first readings of two meters in 17 people: Bland and Altman 1986, Lancet i:307, table 1 (from memory).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
# Six targets, four judges: Shrout and Fleiss 1979, Psychological Bulletin 86:420, table 2 (from memory).
RATINGS = [9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7]


def test_limits_of_agreement_of_two_flow_meters(r_rows):
    cases = pd.DataFrame({"patient_id": range(17), "achieved_last_mm": WRIGHT, "planned_last_mm": MINI}).astype(
        {"achieved_last_mm": float, "planned_last_mm": float}
    )
    rows = fit_depth_agreement(cases).rows.set_index("term")
    r = r_rows("agreement", "pefr")
    for term in ("bias", "low", "high"):
        assert rows.loc[term, "estimate"] == pytest.approx(r.loc[term, "value"], rel=1e-8)
    assert rows.loc["bias", "std_error"] == pytest.approx(r.loc["bias", "se"], rel=1e-8)
    # R's limit has 1 / n and 1.96² / (2 (n - 1)); ours, by the delta method, the same.
    assert rows.loc["low", "std_error"] == pytest.approx(r.loc["low", "se"], rel=1e-6)


@pytest.mark.parametrize("key", ["shrout_fleiss", "series", "perforation"])
def test_intraclass_correlation(series, r_rows, key):
    error_mm = series["achieved_mm"] - series["planned_mm"]
    y, group = {
        "shrout_fleiss": (np.array(RATINGS, float), np.repeat(range(6), 4)),
        "series": (error_mm.to_numpy(float), series["patient_id"]),
        "perforation": (series["perforation"].to_numpy(float), series["patient_id"]),
    }[key]
    parts, r = one_way(y, group), r_rows("agreement", key)
    assert parts.icc == pytest.approx(r.loc["icc", "value"], rel=CLOSED_FORM)
    assert parts.f_interval() == pytest.approx(r.loc["icc", ["lower", "upper"]].tolist(), rel=1e-8)
    assert [parts.between, parts.within, parts.size] == pytest.approx(
        r.loc[["between", "within", "n0"], "value"].tolist(), rel=CLOSED_FORM
    )


def test_jackknife_of_a_binary_correlation(series, r_rows):
    se = icc_jackknife(series["perforation"].to_numpy(float), series["patient_id"])
    assert se == pytest.approx(r_rows("agreement", "perforation").loc["jackknife z", "se"], rel=1e-8)


@pytest.mark.parametrize(("key", "df_complete"), [("rubin", 297), ("rubin_infinite", np.inf)])
def test_rubins_rules(r_rows, key, df_complete):
    found = pooled([1.10, 0.85, 1.32, 0.97, 1.21], [0.09, 0.11, 0.08, 0.10, 0.095], df_complete)
    r = r_rows("agreement", key)["value"]
    ours = [found.estimate, found.std_error**2, found.df, found.missing_information]
    np.testing.assert_allclose(ours, r[["estimate", "variance", "df", "fmi"]], rtol=CLOSED_FORM)
