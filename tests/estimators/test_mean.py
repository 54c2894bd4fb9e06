"""The mean of sites that share patients: by hand, against statsmodels, and the usual t where each has one site."""

import numpy as np
import pytest

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients


def test_mean_of_patients_is_least_squares_with_clusters():
    """statsmodels' cluster-robust variance of a constant, without its correction, times K / (K - 1)."""
    from statsmodels.regression.linear_model import OLS

    rng = np.random.default_rng(2)
    patient = np.repeat(np.arange(30), rng.integers(1, 5, 30))
    value = rng.normal(0, 1, 30)[patient] + rng.normal(0, 1, len(patient))
    theirs = OLS(value, np.ones(len(value))).fit(
        cov_type="cluster", cov_kwds={"groups": patient, "use_correction": False}
    )
    mean, std_error, df = mean_of_patients(value, patient)
    assert mean == pytest.approx(theirs.params[0])
    assert std_error == pytest.approx(theirs.bse[0] * np.sqrt(30 / 29))
    assert df == 29


def test_a_site_a_patient_is_the_plain_mean():
    """1, 2, 6: mean 3, variance 7."""
    told = mean_of_patients(np.array([1.0, 2.0, 6.0]), np.array(["a", "b", "c"]))
    assert told == pytest.approx((3, np.sqrt(7 / 3), 2))


@pytest.mark.parametrize(("patient", "words"), [(["a", "a"], "one patient"), ([], "no such site")])
def test_one_patient_has_no_error(patient, words):
    with pytest.raises(NotFitted, match=words):
        mean_of_patients(np.ones(len(patient)), np.array(patient))


def test_two_patients_are_enough():
    assert mean_of_patients([1, 3], ["a", "b"]) == pytest.approx((2, 1, 1))


def test_three_patients_by_hand():
    """Sites 1, 3 of a, 5 of b, 7 of c: mean 4; sums -4, 1, 3; variance 3/2 (16 + 1 + 9) / 16."""
    mean, std_error, df = mean_of_patients([1, 3, 5, 7], ["a", "a", "b", "c"])
    assert (mean, df) == (4.0, 2)
    assert std_error == pytest.approx(np.sqrt(1.5 * 26 / 16))
