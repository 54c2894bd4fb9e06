"""The bias-reduced covariance of logistic coefficients, beside its definition patient by patient."""

import numpy as np
import pytest
from scipy.special import expit

from liftseries.estimators.bias_reduced import logistic_bias_reduced
from liftseries.estimators.intervals import NotFitted


def made(n_patients: int, seed: int = 5):
    """Sites of patients with one to five each, in any order: predictors, events, coefficients, patients."""
    rng = np.random.default_rng(seed)
    patient = rng.permutation(np.repeat(np.arange(n_patients), rng.integers(1, 6, n_patients)))
    x = np.column_stack([np.ones(len(patient)), rng.normal(5, 2, len(patient)), rng.random(len(patient)) < 0.3])
    beta = np.array([-1.0, 0.2, 0.5])
    return x, rng.random(len(patient)) < expit(x @ beta), beta, patient


def test_it_is_the_sum_over_patients_of_its_definition():
    """Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x, their formula for independent sites."""
    x, event, beta, patient = made(30)
    risk = expit(x @ beta)
    bread = np.linalg.inv((x * (risk * (1 - risk))[:, None]).T @ x)
    meat = np.zeros((3, 3))
    for one in np.unique(patient):
        own = patient == one
        weight = np.diag(risk[own] * (1 - risk[own]))
        hat = weight @ x[own] @ bread @ x[own].T
        residual = np.linalg.solve(np.eye(own.sum()) - hat, event[own] - risk[own])
        score = x[own].T @ residual
        meat += np.outer(score, score)
    assert logistic_bias_reduced(x, event, beta, patient) == pytest.approx(bread @ meat @ bread, rel=1e-9)


def test_one_patient_who_determines_a_coefficient_is_told():
    x, event, beta, patient = made(30)
    x[:, 2] = patient == 4
    with pytest.raises(NotFitted, match="one patient"):
        logistic_bias_reduced(x, event, beta, patient)
    with pytest.raises(NotFitted, match="one patient"):
        logistic_bias_reduced(x, event, beta, np.zeros(len(x)))
