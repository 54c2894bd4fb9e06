"""Cases to look at one by one, the most serious first. Single records: they never leave the house."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.audit.site_table import Recorded, holds
from liftseries.models.audit.units import in_period
from liftseries.study.indicators import review_reasons

MONTH = 12.0
OF_THE_SITE = (
    "operator centre surgery_year tooth approach protocol rbh_min_mm rbh_max_mm floor_slope_deg planned_last_mm "
    "achieved_last_mm last_error_mm overdrill_mm breakthrough_mm perforation perforation_stage perforation_mm "
    "perforation_management lift_method fluid_ml graft_ml dome_ml placement status failed_months infection sinusitis "
    "displacement"
)
COLUMNS = f"place site_id unit most_serious reasons n_reasons {OF_THE_SITE} reviewer conclusion"


@dataclass(frozen=True)
class CasesToReview:
    """What a committee looks at.

    Attributes
    ----------
    listed : COLUMNS, a row a case; `reasons` by name with blanks between, `reviewer` and `conclusion` to be filled in
    rule : `rank name title expression n_sites`, the listing rule, the most serious reason first
    """

    listed: pd.DataFrame
    rule: pd.DataFrame


def list_cases_to_review(
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    by: str,
    period: Sequence[int],
    unrecorded: str,
    data_until: str,
    depth_tolerance_mm: float,
    step_mm: float,
) -> CasesToReview:
    """The cases of the period for which a reason of schemas/case_review.yaml holds.

    Ordered by the most serious reason, then by how many hold, then by how far was drilled beyond the floor, then by
    site.

    Parameters
    ----------
    cases, implants, visits : of the run
    by, period, unrecorded, data_until, depth_tolerance_mm, step_mm : as of `fit_audit_indicators`
    """
    constants = {"depth_tolerance_mm": depth_tolerance_mm, "step_mm": step_mm}
    part = cases.loc[in_period(cases, period)].reset_index(drop=True)
    followed = implants.loc[implants["site_id"].isin(part["site_id"])]
    table = Recorded(part, followed, visits, data_until, unrecorded, constants).table(MONTH)
    reasons = review_reasons()
    held = np.column_stack([holds(reason.where, table) for reason in reasons])
    rule = pd.DataFrame(
        {
            "rank": np.arange(1, len(reasons) + 1),
            "name": [reason.name for reason in reasons],
            "title": [reason.title for reason in reasons],
            "expression": [reason.where for reason in reasons],
            "n_sites": held.sum(axis=0),
        }
    )
    some = held.any(axis=1)
    table, held = table.loc[some], held[some]
    listed = table.reindex(columns=OF_THE_SITE.split()).assign(
        site_id=table["site_id"].astype(object),
        unit=table[by].astype(object) if by in table else None,
        first=held.argmax(axis=1),
        n_reasons=held.sum(axis=1),
        most_serious=[reasons[k].name for k in held.argmax(axis=1)],
        reasons=[" ".join(reason.name for reason, yes in zip(reasons, row, strict=True) if yes) for row in held],
        reviewer="",
        conclusion="",
    )
    listed = listed.sort_values(
        ["first", "n_reasons", "overdrill_mm", "site_id"], ascending=[True, False, False, True], kind="stable"
    )
    listed = listed.assign(place=np.arange(1, len(listed) + 1))
    return CasesToReview(listed[COLUMNS.split()].reset_index(drop=True), rule)
