"""Intervals and p-values from a standard error, and what is raised where there is no estimate at all."""

from scipy.special import ndtr, ndtri, stdtr, stdtrit

CONF_LEVEL = 0.95
FEW_PATIENTS = 50  # below this many, intervals come from t and, for a GEE, from the bias-reduced covariance


class NotFitted(Exception):
    """An estimator has no answer for these data; the message says why, in remarks for results.csv."""


def few_patients_df(n_patients: int, n_coefficients: int = 1) -> int | None:
    """Degrees of freedom K - p of t below 50 patients; None, for the normal, where there are more."""
    return max(n_patients - n_coefficients, 1) if n_patients < FEW_PATIENTS else None


def critical_value(df: float | None = None) -> float:
    """Half-width of a 95 % interval in standard errors."""
    upper = (1 + CONF_LEVEL) / 2
    return float(ndtri(upper) if df is None else stdtrit(df, upper))


def two_sided_p(z: float, df: float | None = None) -> float:
    """Two-sided p-value of a Wald statistic."""
    return float(2 * (ndtr(-abs(z)) if df is None else stdtr(df, -abs(z))))
