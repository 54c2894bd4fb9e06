"""Events per time observed: limits by hand, few events, and what has no interval."""

import numpy as np
import pytest

from liftseries.base.remarks import remark
from liftseries.estimators.incidence import incidence_of_patients
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.proportion import share_of_patients


def test_limits_of_four_patients():
    """Two events in ten years, r = 0.2; (0.6² + 0.8² + 0.8² + 0.6²) 2 / 1 = 4, so that the error is 2 / 10.

    The limits are 0.2 exp(± 3.1824), t of three degrees of freedom: NIST/SEMATECH e-Handbook, table 1.3.6.7.2.
    """
    found = incidence_of_patients([True, True, False, False], [2.0, 1.0, 4.0, 3.0], ["a", "b", "c", "d"])
    assert (found.estimate, found.std_error, found.df, found.note) == (pytest.approx(0.2), pytest.approx(0.2), 3, "")
    assert found.conf_low == pytest.approx(0.2 * np.exp(-3.1824), rel=1e-4)
    assert found.conf_high == pytest.approx(0.2 * np.exp(3.1824), rel=1e-4)


def test_a_unit_of_time_twenty_times_as_long_has_twenty_times_the_rate():
    """All observed for half a unit together."""
    event, time, patient = [True, True, False, False], np.array([2.0, 1.0, 4.0, 3.0]), ["a", "b", "c", "d"]
    found, longer = (incidence_of_patients(event, one, patient) for one in (time, time / 20))
    for name in ("estimate", "std_error", "conf_low", "conf_high"):
        assert getattr(longer, name) == pytest.approx(20 * getattr(found, name)), name


def test_sites_of_a_patient_count_together():
    apart = incidence_of_patients([True, False, True, False], [2.0, 1.0, 4.0, 3.0], ["a", "b", "c", "d"])
    split = incidence_of_patients(
        [False, True, False, True, False], [0.5, 1.5, 1.0, 4.0, 3.0], ["a", "a", "b", "c", "d"]
    )
    assert split == apart


def test_with_one_patient_that_had_an_event_the_limits_are_those_of_the_share_of_sites():
    event, time, patient = np.array([True, False, False, False, False]), np.full(5, 4.0), ["a", "a", "b", "c", "d"]
    found, share = incidence_of_patients(event, time, patient), share_of_patients(event, patient)
    assert found.estimate == 1 / 20
    assert (found.conf_low, found.conf_high) == pytest.approx((share.conf_low * 5 / 20, share.conf_high * 5 / 20))
    assert (np.isnan(found.std_error), found.df, found.note) == (True, None, share.note)


def test_patients_who_do_not_differ_give_no_error_and_no_limit():
    found = incidence_of_patients([True, True, True], [2.0, 2.0, 2.0], ["a", "b", "c"])
    assert found.estimate == 0.5
    assert np.isnan([found.std_error, found.conf_low, found.conf_high]).all()
    assert (found.df, found.note) == (None, remark("zero_std_error"))


@pytest.mark.parametrize(
    ("patients", "years", "why"),
    [(["a", "a"], 1.0, "one_patient"), ([], 1.0, "no_site"), (["a", "b"], 0.0, "no_time_observed")],
)
def test_what_has_no_rate_says_why(patients, years, why):
    with pytest.raises(NotFitted) as refused:
        incidence_of_patients(np.ones(len(patients), bool), np.full(len(patients), years), np.array(patients, object))
    assert str(refused.value) == remark(why)
