"""Wilson's and the exact interval against statsmodels, the second implementation, to the last bit."""

import pytest
from statsmodels.stats.proportion import proportion_confint

from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.proportion import exact, wilson


@pytest.mark.parametrize(("interval", "named"), [(wilson, "wilson"), (exact, "beta")])
@pytest.mark.parametrize("n", [2, 3, 7, 40, 634, 12345])
def test_interval_equals_the_librarys(interval, named, n):
    for n_events in {1, 2, n // 3, n // 2, n - 1} - {0, n}:
        assert interval(n_events, n) == proportion_confint(n_events, n, alpha=1 - CONF_LEVEL, method=named)


@pytest.mark.parametrize("interval", [wilson, exact])
def test_limits_without_or_with_only_events_are_exact(interval):
    assert interval(0, 40)[0] == 0
    assert interval(40, 40)[1] == 1
    assert interval(0, 40)[1] == pytest.approx(1 - interval(40, 40)[0])
