"""What may change no estimate of a clustered estimator: names and order of patients; and what twice the patients do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from liftseries.estimators.aalen_johansen import aalen_johansen
from liftseries.estimators.incidence import incidence_of_patients
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.mean import mean_of_patients
from liftseries.estimators.proportion import share_of_patients

few = settings(max_examples=30)
# Patient, months, how it ended: 0 in function, 1 failed, 2 died.
sites = st.lists(st.tuples(st.integers(0, 7), st.integers(1, 9), st.integers(0, 2)), min_size=4, max_size=30)


def estimates(rows) -> dict[str, tuple[np.ndarray, np.ndarray, int | None]]:
    """Estimator -> its estimates, their standard errors, and how many patients its small-sample factor counts, m."""
    patient, months, ended = (np.array(column) for column in zip(*rows, strict=True))
    months, failed = months.astype(float), ended == 1
    share, rate = share_of_patients(failed, patient), incidence_of_patients(failed, months, patient)
    mean, of_mean, df = mean_of_patients(months, patient)
    curve, incidence = kaplan_meier(months, failed, patient), aalen_johansen(months, failed, ended == 2, patient)
    with_event = len({*patient[failed]})
    return {
        "share": (share.estimate, share.std_error, min(with_event, len({*patient[~failed]}))),
        "incidence": (rate.estimate, rate.std_error, with_event),
        "mean": (mean, of_mean, df + 1),
        "kaplan_meier": (curve.survival, curve.std_error, None),
        "aalen_johansen": (incidence.failure, incidence.std_error, None),
    }


def fitted(rows):
    try:
        return estimates(rows)
    except NotFitted:
        assume(False)


@few
@given(sites, st.randoms(use_true_random=False))
def test_names_and_order_of_patients_change_nothing(rows, draw):
    names = draw.sample(range(100, 200), 8)
    other = [(names[patient], months, ended) for patient, months, ended in rows]
    draw.shuffle(other)
    one, other = fitted(rows), fitted(other)
    for name, numbers in one.items():
        for before, after in zip(numbers[:2], other[name][:2], strict=True):
            assert after == pytest.approx(before, rel=1e-9, abs=1e-12, nan_ok=True), name


@few
@given(sites)
def test_twice_the_patients_are_half_the_variance_but_for_the_factor_for_few(rows):
    """m / (m - 1) becomes 2 m / (2 m - 1); where there is none the variance is halved to the last digits."""
    one, two = fitted(rows), fitted([*rows, *((patient + 100, months, ended) for patient, months, ended in rows)])
    for name, (estimate, std_error, m) in one.items():
        assert two[name][0] == pytest.approx(estimate, rel=1e-9, abs=1e-12), name
        factor = 1.0 if m is None else (2 * m - 2) / (2 * m - 1)
        if m is None or m >= 2:
            half = np.sqrt(factor / 2) * np.asarray(std_error)
            assert two[name][1] == pytest.approx(half, rel=1e-7, abs=1e-9, nan_ok=True), name


@few
@given(sites, st.integers(1, 5))
def test_one_implant_followed_for_no_time_changes_no_curve(rows, n):
    """Nothing is known of what became of it, so that it bears on no month."""
    one = fitted(rows)
    other = fitted([*rows, *((200 + k, 0, 0) for k in range(n))])
    for name in ("incidence", "kaplan_meier", "aalen_johansen"):
        assert other[name][0] == pytest.approx(one[name][0], rel=1e-9, abs=1e-12), name
