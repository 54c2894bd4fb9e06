"""The logistic-normal model against lme4's adaptive quadrature (audit.R)."""

import pytest

from liftseries.estimators.logistic_normal import logistic_normal
from liftseries.study.published import published_counts

PUBLISHED = published_counts()
COUNTS = {
    "published": (PUBLISHED["events"].to_numpy(float), PUBLISHED["denominator"].to_numpy(float)),
    "units": ([9, 3, 2, 14, 2, 6, 0, 1], [70, 52, 64, 52, 35, 49, 49, 24]),
}


@pytest.mark.parametrize("key", COUNTS)
def test_mean_its_error_and_the_variance_between_units(r_rows, key):
    model, r = logistic_normal(*COUNTS[key]), r_rows("audit", key)
    assert model.mean == pytest.approx(float(r.loc["mean", "value"]), rel=1e-5)
    assert model.std_error == pytest.approx(float(r.loc["mean", "se"]), rel=1e-3)  # lme4 differentiates numerically
    assert model.sd == pytest.approx(float(r.loc["sd", "value"]), rel=1e-4)
