"""The area under a curve: by hand, to the horizon and no farther than anybody was followed."""

import numpy as np
import pytest

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.rmst import restricted_mean

MONTHS, FAILED = np.array([2.0, 4.0, 6.0, 10.0]), np.array([True, False, True, False])


def test_area_of_four_implants():
    """1 to month 2, 3/4 to month 6, then 3/8: 2 + 3 + 2 × 3/8 at month 8."""
    assert restricted_mean(MONTHS, FAILED, 8.0).months == pytest.approx(5.75)


def test_what_each_implant_contributes_adds_up_to_nothing_and_to_greenwoods_variance():
    """Σ (area from u to the horizon)² d / (n (n - d)): Klein and Moeschberger 2003, section 4.5 (from memory)."""
    influence = restricted_mean(MONTHS, FAILED, 8.0).influence
    assert influence.sum() == pytest.approx(0.0)
    assert (influence**2).sum() == pytest.approx(3.75**2 / (4 * 3) + 0.75**2 / (2 * 1))


def test_beyond_the_last_visit_the_last_month_is_named():
    with pytest.raises(NotFitted) as refused:
        restricted_mean(MONTHS, FAILED, 11.0)
    assert str(refused.value) == remark("last_follow_up", months=10.0)


@pytest.mark.filterwarnings("error")
def test_where_all_have_failed_the_area_goes_on_at_nought():
    """Nobody is censored: a plain mean, and each one's distance from it over n."""
    mean = restricted_mean(MONTHS, np.ones(4, bool), 60.0)
    assert mean.months == pytest.approx(5.5)
    np.testing.assert_allclose(mean.influence, (MONTHS - 5.5) / 4)
