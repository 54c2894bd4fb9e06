"""The model of the perforation fitted to some of the sites: to resamples, and to all but some centres."""

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.firth import firth_logistic
from liftseries.estimators.gee import logistic_gee
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.design import independent_columns

LARGEST_LOG_ODDS = 15.0


def refitted_coefficients(x: np.ndarray, event: np.ndarray, cluster: np.ndarray) -> tuple[np.ndarray | None, bool]:
    """Coefficients by GEE, or by the penalised model where that has no finite answer (true).

    A column that is constant here, or follows from those before it, has 0.
    """
    columns = {k: x[:, k] for k in range(1, x.shape[1]) if np.ptp(x[:, k]) > 0}
    varies = np.isin(np.arange(x.shape[1]), [0, *independent_columns(columns, len(x))[0]])
    coefficients = np.zeros(x.shape[1])
    try:
        model = logistic_gee(x[:, varies], event, cluster, few_clusters=0)
        if np.abs(x[:, varies] @ model.coefficients).max() > LARGEST_LOG_ODDS:
            raise NotFitted(remark("log_odds_not_finite"))
        coefficients[varies] = model.coefficients
        return coefficients, False
    except NotFitted:
        pass
    try:
        if not event.any() or event.all():
            raise NotFitted(remark("no_perforation_to_compare"))
        coefficients[varies] = firth_logistic(x[:, varies], event, profile=False).coefficients
        return coefficients, True
    except (NotFitted, np.linalg.LinAlgError):
        return None, True


def copies(codes: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Whose each copied site is, each copy of a patient a patient of its own; the copies of a site stand together."""
    before = np.cumsum(times) - times
    return np.concatenate([before[patient] + np.arange(times[patient]) for patient in codes])
