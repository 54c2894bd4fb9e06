"""Do hazard ratios stay the same? How time is counted, and failures that cannot tell; `against_r` holds the tests."""

import numpy as np
import pytest

from liftseries.estimators.cox import cox_regression
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.proportional_hazards import hazards_over_time


def over_time(months, failed, x):
    patient = np.arange(len(months))
    fit = cox_regression(months, failed, x, patient)
    return hazards_over_time(months, failed, x, patient, fit.coefficients)


def test_time_is_counted_by_the_share_that_had_failed_before():
    """Five implants, one lost at 3: survival before the failures at 1, 2, 4 and 8 is 1, 4/5, 3/5 and 3/10."""
    months, failed = np.array([8.0, 2, 1, 3, 4]), np.array([True, True, True, False, True])
    found = over_time(months, failed, np.array([[1.0], [0], [1], [1], [0]]))
    assert found.months.tolist() == [8, 2, 1, 4]
    share = np.array([0.7, 0.2, 0.0, 0.4])
    np.testing.assert_allclose(found.transformed, share - share.mean())


@pytest.mark.parametrize("clustered", [True, False])
def test_a_term_alike_after_the_first_failures_tells_of_no_change_whatever_rounding_leaves(clustered):
    """Two fail at 4, far apart, and all others that differ are lost before the next failure; χ² was up to 200."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        early, late = int(rng.integers(4, 9)), int(rng.integers(5, 20))
        x = 5.7 + np.r_[rng.uniform(1, 2, 2) * [1, -1], rng.uniform(-0.9, 0.9, early - 2), np.zeros(late)][:, None]
        months = np.r_[4.0, 4, rng.uniform(4.1, 5, early - 2), np.ceil(rng.uniform(6, 30, late))]
        found = over_time(months, (months == 4) | (months > 5), x)
        with pytest.raises(NotFitted, match="too few or too alike in time"):
            found.chi_squared(np.array([0]), clustered)


@pytest.mark.parametrize("clustered", [True, False])
def test_failures_at_one_time_tell_of_no_change(clustered):
    months, failed = np.array([6.0, 6, 6, 12, 12]), np.array([True, True, True, False, False])
    found = over_time(months, failed, np.array([[1.0], [0], [3], [1], [2]]))
    with pytest.raises(NotFitted, match="too few or too alike in time"):
        found.chi_squared(np.array([0]), clustered)
