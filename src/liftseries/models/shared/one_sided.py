"""Honest bounds where nothing happened: how large a risk could be that left no trace, or all of it.

A clustered interval needs events. Without any, patients are the smallest number of independent chances there were, so
the bound takes them; the one that counts every site stands beside it, as if sites of a patient were independent.
"""

import numpy as np
import pandas as pd

from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.models.shared.results import Fit

PATIENTS, SITES = "one_sided_patients", "one_sided_sites"


def largest_risk(n: int) -> float:
    """The risk of which no event in n independent chances is still 5 % likely: 1 - 0.05^(1/n), about 3 / n.

    Source: Clopper and Pearson 1934 at no event; Hanley and Lippman-Hand 1983, doi:10.1001/jama.1983.03330370053031.
    """
    return float(1 - (1 - CONF_LEVEL) ** (1 / n))


def bound_rows(fit: Fit, term: str, patient: np.ndarray, estimate: float) -> list[dict]:
    """Two rows with the bound of one side, for patients and for sites.

    Parameters
    ----------
    fit : what the rows share; its method is replaced
    term
    patient : shape (n,)
        Whose site each chance was.
    estimate : 0 or 1, what was seen
    """
    if len(patient) == 0:
        return []
    rows = []
    for method, n in ((PATIENTS, len(pd.unique(patient))), (SITES, len(patient))):
        risk = largest_risk(n)
        limits = (0.0, risk) if estimate == 0 else (1 - risk, 1.0)
        interval = {"conf_low": limits[0], "conf_high": limits[1], "conf_level": CONF_LEVEL}
        rows.append(fit.row(term, estimate, method=method, df=None, **interval))
    return rows
