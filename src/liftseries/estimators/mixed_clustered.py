"""What each patient adds to the fixed effects of a mixed model: their sandwich holds whatever the variances are.

REML's own errors believe that all measurements of a site are equally alike. Where patients differ in their course they
are not, and the error of the months is too small; a patient's influence on the coefficients does not ask.
"""

import numpy as np

from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.mixed import MixedFit


def patient_influence(fit: MixedFit, y: np.ndarray, x: np.ndarray, patient: np.ndarray, site: np.ndarray) -> np.ndarray:
    """(X'V⁻¹X)⁻¹ X_k'V_k⁻¹r_k of every patient k; its cross product with itself is the sandwich (CR0).

    Parameters
    ----------
    fit : of `mixed_reml`, with either, both or none of the intercepts
    y : shape (n,), as fitted
    x : shape (n, p), as fitted
    patient : shape (n,)
        The clusters, also where the fit has no intercept for them.
    site : shape (n,)
        Each lies within one patient.

    Returns
    -------
    shape (n_patients, p), patients in order of appearance

    Source: Liang and Zeger 1986, doi:10.1093/biomet/73.1.13, with REML's V for the working covariance.
    """
    of_patient, of_site = (
        np.nan_to_num(variance) / fit.residual_variance for variance in (fit.patient_variance, fit.site_variance)
    )
    residual = y - x @ fit.coefficients
    row_patient, n_patients = cluster_codes(patient)
    row_site, n_sites = cluster_codes(site)
    site_patient = np.empty(n_sites, int)
    site_patient[row_site] = row_patient
    both = np.column_stack([x, residual])

    # Sums as in `mixed`: what a site's rows share is taken off their sum, what a patient's sites share off theirs.
    size = np.bincount(row_site).astype(float)
    sums = cluster_sums(row_site, n_sites, both)
    shrink = 1 / (1 + size * of_site)
    weighed = cluster_sums(site_patient, n_patients, sums * shrink[:, None])
    weight = np.bincount(site_patient, weights=size * shrink, minlength=n_patients)
    shared_by_site = sums[:, :-1] * (of_site * shrink * sums[:, -1])[:, None]
    score = cluster_sums(row_patient, n_patients, x * residual[:, None])
    score -= cluster_sums(site_patient, n_patients, shared_by_site)
    score -= weighed[:, :-1] * (of_patient / (1 + of_patient * weight) * weighed[:, -1])[:, None]
    return score @ fit.covariance / fit.residual_variance
