"""Printed worked examples: agreement, intraclass correlation, E-values, intervals between visits, lift against none."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit

from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.turnbull import innermost, turnbull
from liftseries.estimators.variance_components import one_way
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.sensitivity.evalue import e_value, risk_ratio


def test_limits_of_agreement_of_1986():
    """Bland and Altman 1986, Lancet i:307: difference -2.1, SD 38.8, limits by 2 SD -79.7, 75.5 l/min (from memory)."""
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    cases = pd.DataFrame({"patient_id": range(17), "achieved_last_mm": wright, "planned_last_mm": mini}).astype(
        {"achieved_last_mm": float, "planned_last_mm": float}
    )
    found = fit_depth_agreement(cases).rows
    for _, of_method in found[found["method"].ne("sites_effective_df")].groupby("method"):
        rows = of_method.set_index("term")["estimate"]
        assert f"{rows['bias']:.1f}" == "-2.1"
        sd = (rows["high"] - rows["low"]) / 2 / 1.96
        assert f"{sd:.1f}" == "38.8"
        # The paper takes 2 SD of its rounded numbers.
        assert [f"{round(rows['bias'], 1) + sign * 2 * round(sd, 1):.1f}" for sign in (-1, 1)] == ["-79.7", "75.5"]


def test_intraclass_correlation_of_1979():
    """Shrout and Fleiss 1979, Psychological Bulletin 86:420: ICC(1,1) .17, MSB 11.24, MSW 6.26 (from memory)."""
    ratings = [9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7]
    parts = one_way(np.array(ratings, float), np.repeat(range(6), 4))
    assert (f"{parts.icc:.2f}", f"{parts.between:.2f}", f"{parts.within:.2f}") == ("0.17", "11.24", "6.26")


@pytest.mark.parametrize(("ratio", "printed"), [(3.9, "7.26"), (1.8, "3.00"), (0.8, "1.81")])
def test_e_values(ratio, printed):
    """VanderWeele and Ding 2017, doi:10.7326/M16-2607 (from memory): RR 3.9 (1.8 to 8.7) has 7.26 and 3.0."""
    assert f"{e_value(ratio):.2f}" == printed


def test_a_common_odds_ratio_counts_as_its_root():
    """VanderWeele and Ding 2017, table 2 (from memory)."""
    assert risk_ratio(1.9, hazard=False, common=True) == pytest.approx(np.sqrt(1.9))
    assert risk_ratio(1.9, hazard=False, common=False) == 1.9
    # Their formula for hazards turns a ratio round as it turns the groups round.
    there, back = (risk_ratio(ratio, hazard=True, common=True) for ratio in (2.5, 1 / 2.5))
    assert there * back == pytest.approx(1)
    assert 1 < there < 2.5


def test_turnbulls_estimate_of_breast_retraction(r_data):
    """Klein and Moeschberger, Survival Analysis, 2nd ed., section 5.2: radiotherapy, S at each drop (from memory)."""
    printed = {4: "1.000", 5: "0.954", 7: "0.920", 8: "0.832", 12: "0.761", 25: "0.668", 34: "0.586", 40: "0.466"}
    breasts = r_data("KMsurv", "bcdeter").query("treat == 1")
    intervals = innermost(breasts["lower"], breasts["upper"].fillna(np.inf))
    fit = turnbull(intervals, np.bincount(intervals.which, minlength=len(intervals.holds)))
    assert {month: f"{fit.survival(month)[0, 0]:.3f}" for month in printed} == printed


def test_implants_lost_with_a_lift_and_without():
    """Rammelsberg 2020 (PMID 32145083): 30 of 648 lost after a lift, 28 of 674 without.

    The odds ratio is that of the 2 x 2 table; penalised, that of the table with a half added to each cell (Haldane;
    Firth 1993, section 3.1).
    """
    lost = np.r_[np.arange(674) < 28, np.arange(648) < 30]
    x = np.column_stack([np.ones(1322), np.r_[np.zeros(674), np.ones(648)]])
    gee = logistic_gee(x, lost, np.arange(1322))
    assert gee.coefficients[1] == pytest.approx(logit(30 / 648) - logit(28 / 674))
    firth = firth_logistic(x, lost)
    assert firth.coefficients[1] == pytest.approx(logit(30.5 / 649) - logit(28.5 / 675), rel=1e-8)
    assert firth.conf_low[1] < 0 < firth.conf_high[1]
