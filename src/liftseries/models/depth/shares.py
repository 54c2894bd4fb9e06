"""How the drilling ended, how many sites were drilled as planned, with each deviation; patients are clusters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.geometry.deviations import DEVIATIONS, ENDED
from liftseries.models.depth.agreement import depth_missing
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

ENDED_ANALYSIS, ADHERENCE_ANALYSIS = "depth.ended", "depth.adherence"
METHOD = "patients"
DEVIATIONS_ANALYSIS, UNJUDGED = "depth.deviations", " not judged"
NOT_JUDGED, NO_LOG = remark("label_unknown", column="as_drilled"), remark("no_log")


def fit_depth_ended(cases: pd.DataFrame) -> Estimates:
    """How the sites with a plan and a log ended.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it

    Returns
    -------
    Estimates
        Terms `at_plan`, `opened_before`, `deeper`, `short`, scale `risk`: shares that sum to 1.

    Source: `share_of_patients`.
    """
    ended = cases["ended"].astype(object)
    known = ended.notna().to_numpy()
    patient = cases["patient_id"].to_numpy()[known]
    found = [share_rows(ENDED_ANALYSIS, "all", term, ended[known].eq(term).to_numpy(), patient) for term in ENDED]
    rows, effects = ([row for each in found for row in each[part]] for part in (0, 1))
    reasons = [(reason, int(out.sum())) for reason, out in ended_missing(cases).items()]
    left_out = left_out_table(ENDED_ANALYSIS, "all", reasons)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def fit_depth_adherence(cases: pd.DataFrame, by: Sequence[str] = ()) -> Estimates:
    """At what share of the sites that can be judged the drilling went as planned.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    Estimates
        Term `share`, scale `risk`, a row a subset.

    Source: `share_of_patients`.
    """
    kept = cases["as_drilled"].astype(object)
    known, as_planned = kept.notna().to_numpy(), kept.eq("plan").to_numpy()
    patient = cases["patient_id"].to_numpy()
    rows, effects, left_out = [], [], []
    for subset, member in subsets(cases, by):
        used = member & known
        found = share_rows(ADHERENCE_ANALYSIS, subset, "share", as_planned[used], patient[used])
        rows, effects = rows + found[0], effects + found[1]
        left_out.append(left_out_table(ADHERENCE_ANALYSIS, subset, [(NOT_JUDGED, int((member & ~known).sum()))]))
    for column in by:
        n_without = int((as_levels(cases[column]).codes < 0).sum())
        left_out.append(
            left_out_table(ADHERENCE_ANALYSIS, column, [(remark("label_unknown", column=column), n_without)])
        )
    left_out = pd.concat(left_out, ignore_index=True)
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def fit_depth_deviations(cases: pd.DataFrame, by: Sequence[str] = ()) -> Estimates:
    """At what share of the sites each deviation occurred, and at what share nobody can tell.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    Estimates
        Terms the deviations, of the sites where each can be judged, and `speed_high not judged`, of the sites with a
        log; scale `risk`.

    Source: `share_of_patients`.
    """
    flags = cases[list(DEVIATIONS)].astype("boolean")
    logged = flags.notna().any(axis=1).to_numpy()
    patient = cases["patient_id"].to_numpy()
    found = []
    for subset, member in subsets(cases, by):
        log = member & logged
        for name in DEVIATIONS:
            known, occurred = flags[name].notna().to_numpy(bool), flags[name].fillna(False).to_numpy(bool)
            judged = member & known
            found.append(share_rows(DEVIATIONS_ANALYSIS, subset, name, occurred[judged], patient[judged]))
            found.append(share_rows(DEVIATIONS_ANALYSIS, subset, f"{name}{UNJUDGED}", ~known[log], patient[log]))
    rows, effects = ([row for each in found for row in each[part]] for part in (0, 1))
    left_out = left_out_table(DEVIATIONS_ANALYSIS, "all", [(NO_LOG, int((~logged).sum()))])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def share_rows(
    analysis: str, subset: str, term: str, event: np.ndarray, patient: np.ndarray
) -> tuple[list[dict], list[dict]]:
    """The row of one share, and its design effect if it has one.

    `event`, true/false, and `patient` are of the sites that count, shapes (n,).
    """
    fit = Fit(
        analysis=analysis,
        subset=subset,
        scale="risk",
        method=METHOD,
        n_sites=len(event),
        n_patients=len(pd.unique(patient)),
        n_events=int(event.sum()),
    )
    row, effects = share_row(fit, term, event, patient)
    return [row], effects


def ended_missing(cases: pd.DataFrame) -> dict[str, np.ndarray]:
    """Why nothing is said of how a site ended -> at which sites, shape (n_sites,); a site stands under its first."""
    missing = depth_missing(cases)
    depths_known = ~np.any(list(missing.values()), axis=0)
    unknown = depths_known & cases["ended"].isna().to_numpy()
    return missing | {remark("label_unknown", column="ended"): unknown}
