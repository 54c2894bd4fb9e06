"""Follow-up: from visits to one time an implant, the end of it, and what was known at surgery.

A failure is dated at the visit that found it, as the field does. A death censors at the visit that reports
it, otherwise the last visit in function censors. A site that was never seen again cannot tell anything and
stays out.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.results import left_out_table

EXAMINED = ("functioning", "failed", "patient_died")  # status of a visit that tells how the implant fares
# Why an implant is not followed.
NO_IMPLANT, NO_VISIT = remark("no_implant_placed"), remark("no_visit")
NOT_EXAMINED = remark("not_examined")
NEVER_IN_FUNCTION = remark("not_seen_after_placement")
OUTCOME = ("months", "failed", "died", "last_in_function")


@dataclass(frozen=True)
class FollowUp:
    """Implants under observation, and the sites that are not among them.

    Attributes
    ----------
    implants : one row an implant, in the order of `cases`
        `site_id, patient_id, months` (since placement), `failed`, `died` (both true/false), `last_in_function`
        (months of the last visit in function before any failure, NaN without one) and every other column of `cases`.
    n_without_implant : sites where none was placed
    n_without_visit : implants without a visit
    n_only_not_examined : implants that have visits, at none of which they were examined
    n_seen_only_at_placement : implants in `implants` that fell out at month 0; at risk at placement, never
    after
    """

    implants: pd.DataFrame
    n_without_implant: int
    n_without_visit: int
    n_only_not_examined: int
    n_seen_only_at_placement: int

    def left_out(self, analysis: str) -> pd.DataFrame:
        """The sites that stay out of a survival analysis, as rows of `Estimates.left_out`."""
        reasons = [
            (NO_IMPLANT, self.n_without_implant),
            (NO_VISIT, self.n_without_visit),
            (NOT_EXAMINED, self.n_only_not_examined),
        ]
        return left_out_table(analysis, "all", reasons)


def follow_up(visits: pd.DataFrame, cases: pd.DataFrame) -> FollowUp:
    """Date the end of each implant's observation.

    Parameters
    ----------
    visits : the contract's visits; rows of sites that are not in `cases` are ignored
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    FollowUp
    """
    placed = with_implant(cases)
    status = visits["status"].astype(object)
    site = visits["site_id"].astype(object)
    months = visits["months"].astype(float)

    first_failed = months[status.eq("failed")].groupby(site).min()
    first_death = months[status.eq("patient_died")].groupby(site).min()
    before_failure = ~(months >= site.map(first_failed).astype(float))
    last_in_function = months[status.eq("functioning") & before_failure].groupby(site).max()

    site_id = cases["site_id"].astype(object)
    failed_at = site_id.map(first_failed).to_numpy(float)
    died_at = site_id.map(first_death).to_numpy(float)
    in_function_at = site_id.map(last_in_function).to_numpy(float)
    failed = np.isfinite(failed_at)
    died = ~failed & np.isfinite(died_at)
    end = np.where(failed, failed_at, np.where(died, died_at, in_function_at))

    seen = np.isfinite(end)
    visited = site_id.isin(site).to_numpy()
    used = placed & seen
    implants = cases.loc[used].reset_index(drop=True)
    implants = implants.drop(columns=[c for c in OUTCOME if c in implants])
    implants.insert(2, "months", end[used])
    implants.insert(3, "failed", failed[used])
    implants.insert(4, "died", died[used])
    implants.insert(5, "last_in_function", in_function_at[used])
    first = ["site_id", "patient_id", *OUTCOME]
    return FollowUp(
        implants=implants[first + [column for column in implants if column not in first]],
        n_without_implant=int((~placed).sum()),
        n_without_visit=int((placed & ~visited).sum()),
        n_only_not_examined=int((placed & visited & ~seen).sum()),
        n_seen_only_at_placement=int((end[used] == 0).sum()),
    )


def with_implant(cases: pd.DataFrame) -> np.ndarray:
    """Which sites had an implant placed, shape (n_sites,); all of them where no placement is recorded."""
    if "placement" not in cases:
        return np.ones(len(cases), bool)
    return ~cases["placement"].astype(object).eq("none").to_numpy(bool)


def why_not_followed(visits: pd.DataFrame, cases: pd.DataFrame) -> pd.Series:
    """Site -> why nothing is known of how its implant fares, "" where something is; in the order of `cases`.

    The reasons are those of `FollowUp.left_out`.
    """
    site_id = cases["site_id"].astype(str)
    told = visits["status"].astype(object).isin(EXAMINED)
    visited, examined = (site_id.isin(visits.loc[which, "site_id"].astype(str)) for which in (visits.index, told))
    reasons = [~with_implant(cases), ~visited.to_numpy(bool), ~examined.to_numpy(bool)]
    found = np.select(reasons, [NO_IMPLANT, NO_VISIT, NOT_EXAMINED], "")
    return pd.Series(found, index=site_id.to_numpy(object), dtype=object)


def implants_table(implants: pd.DataFrame) -> pd.DataFrame:
    """derived/implants.csv: what `follow_up` found of each implant, and between which months it failed."""
    left, right = failure_intervals(implants)
    table = implants[["site_id", "patient_id", *OUTCOME]]
    return table.assign(interval_left=left, interval_right=np.where(np.isfinite(right), right, np.nan))


def failure_intervals(implants: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Between which months each implant failed: after the last visit in function, up to the visit that found it.

    An implant that has not failed was last known to stand at its last visit in function; a death says nothing of the
    time after it. An implant never seen in function has 0 on the left.

    Returns
    -------
    left, right : shape (n,), months
        right is infinite where the implant has not failed.
    """
    left = implants["last_in_function"].fillna(0.0).to_numpy(float)
    return left, np.where(implants["failed"].to_numpy(bool), implants["months"].to_numpy(float), np.inf)


def seen_after_placement(implants: pd.DataFrame) -> np.ndarray:
    """Which implants a visit told anything of after placement, shape (n,); the others tell nothing of a failure."""
    left, right = failure_intervals(implants)
    return (left > 0) | np.isfinite(right)
