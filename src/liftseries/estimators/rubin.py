"""Several completed data sets, one answer: Rubin's rules with Barnard and Rubin's degrees of freedom."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pooled:
    """A pooled estimate.

    Attributes
    ----------
    estimate, std_error
    df : degrees of freedom of t, a fraction
    missing_information : the share of what the complete data would tell that is missing
    """

    estimate: float
    std_error: float
    df: float
    missing_information: float


def pooled(estimates: np.ndarray, variances: np.ndarray, df_complete: float) -> Pooled:
    """Pool an estimate over completed sets.

    Parameters
    ----------
    estimates, variances : shape (m,), m ≥ 2
    df_complete : degrees of freedom that the complete data would have; may be infinite

    Returns
    -------
    Pooled

    Source: Rubin 1987, Multiple Imputation for Nonresponse in Surveys, section 3.1 (from memory); Barnard and Rubin
    1999, doi:10.1093/biomet/86.4.948.
    """
    estimates, variances = np.asarray(estimates, float), np.asarray(variances, float)
    m = len(estimates)
    within, between = variances.mean(), estimates.var(ddof=1)
    extra = (1 + 1 / m) * between
    total = within + extra
    share = extra / total
    df_old = (m - 1) / share**2 if share > 0 else np.inf
    if np.isinf(df_complete):
        df = df_old
    else:
        observed = (df_complete + 1) / (df_complete + 3) * df_complete * (1 - share)
        df = 1 / (1 / df_old + 1 / observed)
    increase = extra / within
    missing = (increase + 2 / (df + 3)) / (increase + 1) if share > 0 else 0.0
    return Pooled(float(estimates.mean()), float(np.sqrt(total)), float(df), float(missing))
