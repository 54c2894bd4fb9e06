"""Bone gain and later failure: a landmark model, so that no implant is credited with living until it was measured.

Counted from placement, an implant whose gain was measured at a year has by then survived that year, while those that
failed before were never measured. So time starts at the landmark, for those in function then, with the gain seen so
far.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.models.shared.results import Estimates, left_out_table
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.firth_cox import fit_survival_firth_cox

ANALYSIS = "survival.gain"


def fit_survival_gain(
    visits: pd.DataFrame,
    implants: pd.DataFrame,
    cases: pd.DataFrame,
    terms: Sequence[str],
    landmark_months: float,
) -> Estimates:
    """Log hazard of failure after the landmark on the bone gain by then and the plan's terms.

    Parameters
    ----------
    visits : the contract's visits
    implants : one row an implant, as `follow_up()` gives it
    cases : one row a site, as `cases()` gives it
    terms : columns of `implants`; `gain_mm` goes before them
    landmark_months : where time starts; failures until then are left out, and counted

    Returns
    -------
    Estimates
        On the scale `log_hazard`: the rows of `fit_survival_cox` and of `fit_survival_firth_cox`, with their headline.

    Source: Anderson, Cain and Gelber 1983, doi:10.1200/JCO.1983.1.11.710.
    """
    after = after_landmark(implants, gain_at_visits(visits, cases, ()), landmark_months)
    estimates = fit_survival_cox(after, landmark_terms(terms), ANALYSIS, penalised=ANALYSIS)
    penalised = fit_survival_firth_cox(after, landmark_terms(terms), ANALYSIS, instead=ANALYSIS)
    landmark = remark("landmark", months=landmark_months)
    rows = pd.concat([estimates.rows, penalised.rows], ignore_index=True)
    rows["note"] = [joined(landmark, note) for note in rows["note"]]
    if not len(after) and len(implants):
        rows["problem"] = remark("none_followed_beyond_landmark", months=landmark_months)
    earlier = [(reason, int(out.sum())) for reason, out in out_by_landmark(implants, landmark_months).items()]
    left_out = pd.concat([left_out_table(ANALYSIS, "all", earlier), estimates.left_out], ignore_index=True)
    effects = pd.concat([estimates.design_effects, penalised.design_effects], ignore_index=True)
    return Estimates(rows, left_out, design_effects=effects)


def landmark_terms(terms: Sequence[str]) -> list[str]:
    """The model's terms: the gain before the plan's."""
    return ["gain_mm", *[term for term in terms if term != "gain_mm"]]


def after_landmark(implants: pd.DataFrame, gains: pd.DataFrame, landmark_months: float) -> pd.DataFrame:
    """Implants still followed after the landmark, `months` since then, with the `gain_mm` last seen by then.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    gains : one row a visit, as `gain_at_visits` gives it
    landmark_months
    """
    by_then = gains.loc[gains["months"] <= landmark_months].sort_values("months", kind="stable")
    gain_mm = by_then.groupby("site_id")["gain_mm"].last()
    months = implants["months"].to_numpy(float)
    at_risk = months > landmark_months
    after = implants.loc[at_risk].copy()
    after["months"] = months[at_risk] - landmark_months
    after["gain_mm"] = after["site_id"].astype(object).map(gain_mm).astype(float)
    return after


def out_by_landmark(implants: pd.DataFrame, landmark_months: float) -> dict[str, np.ndarray]:
    """Why implants are not followed after the landmark -> which of them, shape (n,)."""
    by_then = ~(implants["months"].to_numpy(float) > landmark_months)
    failed = implants["failed"].to_numpy(bool)
    return {remark("failed_by_landmark"): failed & by_then, remark("not_followed_beyond_landmark"): ~failed & by_then}
