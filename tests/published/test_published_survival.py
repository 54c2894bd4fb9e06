"""The 6-MP remission times of Freireich 1963, in weeks, against a handbook's tables."""

import numpy as np
import pytest

from liftseries.estimators.cox import cox_regression
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.turnbull import innermost, turnbull
from liftseries.estimators.weibull import weibull_interval

SIX_MP = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
N_SIX_MP_RELAPSED = 9  # the first nine; the rest were in remission when last seen
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]  # all relapsed

# Klein and Moeschberger, Survival Analysis, 2nd ed., table 4.1A, quoted from memory: S(t) and Greenwood's SE.
TABLE_FROM_MEMORY = {
    6: ("0.857", "0.076"),
    7: ("0.807", "0.087"),
    10: ("0.753", "0.096"),
    13: ("0.690", "0.107"),
    16: ("0.627", "0.114"),
    22: ("0.538", "0.128"),
    23: ("0.448", "0.135"),
}


@pytest.fixture(scope="module")
def six_mp():
    return kaplan_meier(SIX_MP, np.arange(21) < N_SIX_MP_RELAPSED, np.arange(21))


@pytest.mark.parametrize(("week", "printed"), TABLE_FROM_MEMORY.items())
def test_product_limit_table(six_mp, week, printed):
    survival, std_error = six_mp.at([week])
    half_a_digit = 0.0005  # the table prints three decimals
    assert survival[0] == pytest.approx(float(printed[0]), abs=half_a_digit)
    assert std_error[0] == pytest.approx(float(printed[1]), abs=half_a_digit)


def test_median_remission_is_23_weeks(six_mp):
    """Printed with the trial and in most texts; from memory."""
    assert six_mp.months[np.argmax(six_mp.survival <= 0.5)] == 23


def test_cox_coefficient_of_placebo():
    """1.572 (SE 0.412) with Efron's ties in standard texts; from memory."""
    weeks = np.array(SIX_MP + PLACEBO, float)
    relapsed = np.r_[np.arange(21) < N_SIX_MP_RELAPSED, np.ones(21, bool)]
    placebo = np.repeat([[0.0], [1.0]], 21, axis=0)
    fit = cox_regression(weeks, relapsed, placebo, np.arange(42))
    assert fit.coefficients[0] == pytest.approx(1.572, abs=0.0005)
    assert fit.naive_std_error[0] == pytest.approx(0.412, abs=0.0005)


def test_weibull_of_placebo_against_six_mp():
    """3.516 (0.252), -1.267 (0.311), log scale -0.312 (0.147): Modern Applied Statistics with S, 4th ed., 13.2; from
    memory."""
    weeks = np.array(SIX_MP + PLACEBO, float)
    relapsed = np.r_[np.arange(21) < N_SIX_MP_RELAPSED, np.ones(21, bool)]
    x = np.column_stack([np.ones(42), np.repeat([0.0, 1.0], 21)])
    fit = weibull_interval(weeks, np.where(relapsed, weeks, np.inf), x, np.arange(42))
    np.testing.assert_allclose(fit.parameters, [3.516, -1.267, 0.312], atol=0.0005)
    np.testing.assert_allclose(fit.naive_std_error, [0.252, 0.311, 0.147], atol=0.0005)


def test_turnbull_table_of_breast_retraction(r_data):
    """46 women with radiotherapy alone: plateaus of Klein and Moeschberger, 2nd ed., example 5.3; from memory.

    The last one, 0.467, is not held: the book ends its iteration early, and at the maximum it is 0.4656.
    """
    women = r_data("KMsurv", "bcdeter").query("treat == 1")
    intervals = innermost(women["lower"], women["upper"].fillna(np.inf))
    fit = turnbull(intervals, np.bincount(intervals.which))
    plateaus = {4: 1.0, 6: 0.954, 7: 0.920, 8: 0.832, 12: 0.761, 25: 0.668, 34: 0.586}
    np.testing.assert_allclose(fit.survival(list(plateaus))[0], list(plateaus.values()), atol=0.0005)
