"""How much bone is gained: linear mixed model of the gain at the visits, sites within patients."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.gain.at_visits import Measured, fit_at_visits
from liftseries.models.gain.means import mean_at
from liftseries.models.gain.recalls import by_recall, reasons_of_sites
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.shared.results import Estimates, left_out_table, results_table

ANALYSIS = "gain.mixed"
QUOTED_AT = 12.0  # months: the mean gain that the report quotes
NO_BONE_HEIGHT = remark("no_visit_with_bone_height")


@dataclass(frozen=True)
class GainEstimates(Estimates):
    """Coefficients of the gain, its scatter, and its course.

    Attributes
    ----------
    variances : one row, `patient_sd_mm, site_sd_mm, residual_sd_mm, n_visits`
        Empty where the model has no such intercept or could not be fitted.
    by_visit : `months, n, mean, sd`
        Gain in mm at the visits nearest to each usual recall, see `by_recall`.
    """

    variances: pd.DataFrame
    by_visit: pd.DataFrame


def fit_gain_mixed(visits: pd.DataFrame, cases: pd.DataFrame, terms: Sequence[str]) -> GainEstimates:
    """Bone gain in mm on the plan's terms, its mean at 12 months and its change per year.

    Parameters
    ----------
    visits : the contract's visits; `months` may be a term
    cases : one row a site, as `cases()` gives it
    terms : `months` or columns of `cases`

    Returns
    -------
    GainEstimates
        The mixed model, see `fit_at_visits`, and `mean at 12`, see `mean_at`.
    """
    gains = gain_at_visits(visits, cases, terms)
    nowhere, no_complete_case = remark("bone_height_not_recorded"), remark("no_complete_case_with_bone_height")
    measured = Measured(gains, "gain_mm", terms, nowhere, no_complete_case)
    answer = fit_at_visits(ANALYSIS, measured)
    mean, effect = mean_at(ANALYSIS, measured, QUOTED_AT)
    reason = reasons_of_sites(cases, gains, answer.design.reasons, NO_BONE_HEIGHT)
    return GainEstimates(
        rows=results_table([*answer.rows, mean]),
        left_out=left_out_table(ANALYSIS, "all", list(reason[reason != ""].value_counts(sort=False).items())),
        design_effects=results_table([*answer.effects, *effect]),
        variances=pd.DataFrame([answer.variances]),
        by_visit=by_recall(gains["months"].to_numpy(float), gains["gain_mm"].astype(float)),
        fitted=(answer.model(ANALYSIS, measured, cases, reason),),
    )
