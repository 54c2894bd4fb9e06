"""Do hazard ratios stay the same? The score test for terms that change with time, alone and clustered in patients."""

from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.cox import PartialLikelihood
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.kaplan_meier import kaplan_meier


@dataclass(frozen=True)
class HazardsOverTime:
    """The extended model's score at no change with time, and what its tests need.

    Attributes
    ----------
    score : shape (p,)
        Of each column times the centred transformed time.
    information : shape (p, p)
        Of these, the coefficients of the model taken out.
    clustered : shape (p, p)
        The score's variance from sums within patients.
    scale : shape (p,)
        Root of the score's variance if the model's coefficients were known: little beside it is rounding.
    n_clusters : patients
    months, transformed : shape (n_failed,)
        Each failure's time and its transformation.
    residuals : shape (n_failed, p)
        Scaled Schoenfeld residuals plus coefficient: what the log hazard ratio would be at that time.
    """

    score: np.ndarray
    information: np.ndarray
    clustered: np.ndarray
    scale: np.ndarray
    n_clusters: int
    months: np.ndarray
    transformed: np.ndarray
    residuals: np.ndarray

    def chi_squared(self, columns: np.ndarray, clustered: bool) -> float:
        """The test of some columns together.

        Raises NotFitted where their variance is singular.
        """
        u = self.score[columns]
        variance = (self.clustered if clustered else self.information)[np.ix_(columns, columns)]
        scale = self.scale[columns]
        if not (scale > 0).all() or np.linalg.eigvalsh(variance / np.outer(scale, scale))[0] < 1e-9:
            raise NotFitted(remark("failures_too_alike_in_time"))
        return float(u @ np.linalg.solve(variance, u))


def hazards_over_time(
    months: np.ndarray,
    failed: np.ndarray,
    x: np.ndarray,
    cluster: np.ndarray,
    coefficients: np.ndarray,
) -> HazardsOverTime:
    """Score of columns that change with time, counted by Kaplan-Meier, at the fitted Cox model.

    Parameters
    ----------
    months, failed, x, cluster : as for `cox_regression`
    coefficients : shape (p,), as `cox_regression` gives them

    Returns
    -------
    HazardsOverTime

    Source: the score test, transform `km`, of R's `cox.zph` since survival 3.0 (Grambsch and Therneau 1994,
    doi:10.1093/biomet/81.3.515, is its approximation); clustered: generalised score test, Boos 1992,
    doi:10.1080/00031305.1992.10475921, with the patient sums of Lin and Wei 1989.
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    spread = x.std(axis=0)
    z = (x - x.mean(axis=0)) / spread
    likelihood = PartialLikelihood(months, failed, z)
    beta = coefficients * spread
    curve = kaplan_meier(months, failed, np.arange(len(months)))
    # Time is counted as one less the survival just before it, so that failures lie evenly along it.
    g = 1 - np.r_[1.0, curve.survival][np.searchsorted(curve.months, likelihood.times, side="left")]
    g = g - np.average(g, weights=likelihood.d)

    plain, once, twice = likelihood(beta), likelihood(beta, g), likelihood(beta, g**2)
    inverse = np.linalg.inv(plain.information)
    projection = once.information @ inverse
    codes, n_clusters = cluster_codes(cluster)
    residuals = likelihood.score_residuals(once) - likelihood.score_residuals(plain) @ projection.T
    sums = cluster_sums(codes, n_clusters, residuals)
    when = likelihood.when_failed
    schoenfeld = z[failed] - plain.mean_x[when]
    return HazardsOverTime(
        score=once.score,
        information=twice.information - projection @ once.information,
        clustered=sums.T @ sums,
        scale=np.sqrt(np.maximum(np.diag(twice.information), 0)),
        n_clusters=n_clusters,
        months=months[failed],
        transformed=g[when],
        residuals=(schoenfeld @ inverse * failed.sum() + beta) / spread,
    )
