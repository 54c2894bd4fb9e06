"""Marginal bone: its level at the visits, how it changes, and at how many sites it lies far below the platform."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.gain.at_visits import Measured, fit_at_visits
from liftseries.models.gain.means import fit_of_sites, mean_at, nobody_at, quoted
from liftseries.models.gain.recalls import by_recall, nearest_visits, reasons_of_sites
from liftseries.models.shared.follow_up import NO_IMPLANT, with_implant
from liftseries.models.shared.outcomes import columns_beside
from liftseries.models.shared.results import Estimates, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

ANALYSIS = "bone.marginal"
TERMS = ("months", "healing")
FAR_MM = 2.0  # a level beyond it is told as a share; a usual limit of the field, no source
NO_MARGINAL_BONE = remark("no_visit_with_marginal_bone")


@dataclass(frozen=True)
class MarginalEstimates(Estimates):
    """The level's coefficients, its means and shares at the plan's months, and its course.

    Attributes
    ----------
    by_visit : `months, n, mean, sd`
        Level in mm at the visits nearest to each usual recall, see `by_recall`.
    """

    by_visit: pd.DataFrame


def fit_bone_marginal(visits: pd.DataFrame, cases: pd.DataFrame, months: Sequence[float]) -> MarginalEstimates:
    """Marginal bone level in mm below the platform.

    Parameters
    ----------
    visits : the contract's visits
    cases : one row a site, as `cases()` gives it
    months : at which the mean, and the share beyond 2 mm, is wanted

    Returns
    -------
    MarginalEstimates
        The mixed model on months and healing, see `fit_at_visits`; `mean at 12` and `beyond 2 at 12`, method
        `patients`, over the sites with a measurement within three months, each by its nearest one.
    """
    levels = marginal_at_visits(visits, cases, TERMS)
    nowhere, no_complete_case = NO_MARGINAL_BONE, remark("no_complete_case_with_marginal_bone")
    measured = Measured(levels, "marginal_bone_mm", TERMS, nowhere, no_complete_case)
    answer = fit_at_visits(ANALYSIS, measured)
    rows, effects = list(answer.rows), list(answer.effects)
    for month in months:
        of_month = (mean_at(ANALYSIS, measured, month), _beyond_at(month, levels))
        rows += [row for row, _ in of_month]
        effects += [effect for _, found in of_month for effect in found]
    reason = marginal_reasons(cases, levels, answer.design.reasons)
    return MarginalEstimates(
        rows=results_table(rows),
        left_out=left_out_table(ANALYSIS, "all", list(reason[reason != ""].value_counts(sort=False).items())),
        design_effects=results_table(effects),
        by_visit=by_recall(levels["months"].to_numpy(float), levels["marginal_bone_mm"].astype(float)),
        fitted=(answer.model(ANALYSIS, measured, cases, reason),),
    )


def marginal_at_visits(visits: pd.DataFrame, cases: pd.DataFrame, columns: Sequence[str] | None = None) -> pd.DataFrame:
    """One row a visit of an implant with a marginal bone level: `marginal_bone_mm`, `months` and the site's columns.

    `columns` of the site beside its keys; all where none are named.
    """
    if "marginal_bone_mm" not in visits:
        return cases.iloc[:0].assign(months=np.zeros(0), marginal_bone_mm=np.zeros(0))
    of_visits = ["months", "marginal_bone_mm"]
    measured = visits.loc[visits["marginal_bone_mm"].notna(), ["site_id", *of_visits]]
    sites = cases.loc[with_implant(cases), columns_beside(cases, of_visits, (), columns)]
    return measured.merge(sites, on="site_id", how="inner", validate="many_to_one")


def marginal_reasons(cases: pd.DataFrame, levels: pd.DataFrame, reasons: np.ndarray) -> pd.Series:
    """Why no visit of a site entered the model, "" where one did; see `reasons_of_sites`."""
    return reasons_of_sites(cases, levels, reasons, NO_MARGINAL_BONE).where(with_implant(cases), NO_IMPLANT)


def beyond(near: pd.DataFrame) -> np.ndarray:
    """Whether each level lies more than 2 mm below the platform; shape (n,)."""
    return near["marginal_bone_mm"].to_numpy(float) > FAR_MM


def _beyond_at(month: float, levels: pd.DataFrame) -> tuple[dict, list[dict]]:
    near, term = nearest_visits(levels, month), f"beyond {FAR_MM:g} at {month:g}"
    event = beyond(near)
    fit = fit_of_sites(ANALYSIS, near, "risk", int(event.sum()))
    if near.empty:
        return fit.row(term, problem=nobody_at(month)), []
    row, effects = share_row(fit, term, event, near["patient_id"].to_numpy(), headline=False)
    return (row if row["problem"] else quoted(row, len(near))), effects
