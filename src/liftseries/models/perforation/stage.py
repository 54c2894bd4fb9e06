"""When the tears were noticed: the share of the perforated sites for each stage, as counted."""

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.levels import as_levels
from liftseries.models.shared.outcomes import known_perforation
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

ANALYSIS = "perforation.stage"
METHOD = "counted"


def fit_perforation_stage(cases: pd.DataFrame) -> Estimates:
    """Share of the perforated sites whose tear was noticed at each stage, of those where the stage is known.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        A row a stage (term), scale `risk`, without an interval: the stages of one tear exclude each other.
    """
    _, perforated = known_perforation(cases)
    torn = cases.loc[perforated]
    stages = as_levels(torn["perforation_stage"]) if "perforation_stage" in torn else pd.Categorical([])
    known = torn.loc[stages.codes >= 0] if len(stages) else torn.iloc[:0]
    rows = []
    for stage in stages.categories:
        n = int((stages == stage).sum())
        fit = Fit(
            analysis=ANALYSIS,
            subset="all",
            scale="risk",
            method=METHOD,
            n_sites=len(known),
            n_patients=known["patient_id"].nunique(),
            n_events=n,
        )
        share = {"estimate": n / len(known)} if len(known) else {"problem": remark("value_not_recorded")}
        rows.append(fit.row(stage, **share))
    reasons = [(remark("label_unknown", column="perforation_stage"), len(torn) - len(known))]
    return Estimates(results_table(rows), left_out_table(ANALYSIS, "all", reasons))
