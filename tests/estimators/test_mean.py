"""The mean of sites that share patients: worked by hand, and equal to the usual t where each has one site."""

import numpy as np
import pytest
from scipy import stats

from liftseries.base.remarks import names_in
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.mean import mean_of_patients


def test_three_patients_by_hand():
    """Sites 1, 3 of a, 5 of b, 7 of c: mean 4; sums -4, 1, 3; variance 3/2 (16 + 1 + 9) / 16."""
    mean, std_error, df = mean_of_patients([1, 3, 5, 7], ["a", "a", "b", "c"])
    assert (mean, df) == (4.0, 2)
    assert std_error == pytest.approx(np.sqrt(1.5 * 26 / 16))


def test_one_site_a_patient_is_the_usual_standard_error():
    values = np.array([2.0, 3.5, 1.0, 4.0, 2.5])
    _, std_error, df = mean_of_patients(values, range(5))
    assert std_error == pytest.approx(stats.sem(values))
    assert df == 4


@pytest.mark.parametrize(("patient", "why"), [([], "no_site"), (["a", "a"], "one_patient")])
def test_fewer_than_two_patients_have_no_answer(patient, why):
    with pytest.raises(NotFitted) as raised:
        mean_of_patients(np.ones(len(patient)), patient)
    assert names_in(str(raised.value)) == {why}
