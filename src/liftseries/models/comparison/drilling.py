"""How the drilling went in each group: deeper than planned, as planned, and how far off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.comparison.compared import ALL, Asked, Compared, asked_of, populations
from liftseries.models.comparison.contrasts import CRUDE, G_COMPUTATION, Outcome, comparison_rows, found_or_why
from liftseries.models.comparison.measured import mixed_model
from liftseries.models.comparison.shares import balanced_means, share_rows
from liftseries.models.depth.agreement import depth_missing
from liftseries.models.shared.cases import ADHERENCE_NEEDS
from liftseries.models.shared.results import Estimates, results_table

DEEPER, ADHERENCE = "comparison.deeper", "comparison.adherence"
DEPTH_ERROR, DEPTH_ERROR_SIZE = "comparison.depth_error", "comparison.depth_error_size"
NOT_JUDGED = remark("label_unknown", column="as_drilled")
ENDED_UNKNOWN = remark("label_unknown", column="ended")


def fit_comparison_drilling(
    cases: pd.DataFrame, groups: str, reference: str, adjust_for: Sequence[str], weights: Sequence[str]
) -> Estimates:
    """Shares of sites that ended deeper and that were drilled as planned; depth errors, and their size.

    Parameters
    ----------
    cases, groups, reference, adjust_for, weights : as of `fit_comparison_perforation`

    Returns
    -------
    Estimates
        `comparison.deeper`, `comparison.adherence` (which the subset `as_drilled=plan` would settle by definition, so
        it is told of all alone), `comparison.depth_error` and `comparison.depth_error_size`.
    """
    asked = asked_of(cases, groups, reference, adjust_for, weights)
    rows, left_out = [], []
    for found in (_deeper(cases, asked), _adherence(cases, asked), *_depth_errors(cases, asked)):
        for analysis, population, told in found:
            rows += told
            left_out.append(population.left_out(analysis))
    return Estimates(results_table(rows), pd.concat(left_out, ignore_index=True))


def _deeper(cases: pd.DataFrame, asked: Asked):
    unknown = cases["ended"].isna().to_numpy(bool)
    for population in populations(cases, {ENDED_UNKNOWN: unknown}, asked):
        event = population.sites["ended"].astype(object).eq("deeper").to_numpy(bool)
        yield DEEPER, population, share_rows(DEEPER, population, event)


def adherence(cases: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Of which sites the first depth, the advances and the last depth can all be judged, and of which all three are as
    planned; both of shape (n_sites,), true/false."""
    flags = cases[list(ADHERENCE_NEEDS)].astype("boolean")
    judged = flags.notna().all(axis=1).to_numpy(bool)
    return judged, judged & ~flags.fillna(True).any(axis=1).to_numpy(bool)


def _adherence(cases: pd.DataFrame, asked: Asked):
    judged, kept = adherence(cases)
    for population in populations(cases.assign(_event=kept), {NOT_JUDGED: ~judged}, asked, (ALL,)):
        event = population.sites["_event"].to_numpy(bool)
        yield ADHERENCE, population, share_rows(ADHERENCE, population, event)


def _depth_errors(cases: pd.DataFrame, asked: Asked):
    for analysis, of in ((DEPTH_ERROR, np.asarray), (DEPTH_ERROR_SIZE, np.abs)):
        yield [
            (analysis, population, error_rows(analysis, population, of))
            for population in populations(cases, depth_missing(cases), asked)
        ]


def error_rows(analysis: str, population: Compared, of) -> list[dict]:
    """Rows of the depth errors, `of` what is taken of each, np.asarray or np.abs."""
    achieved, planned = (population.sites[name].to_numpy(float) for name in ("achieved_last_mm", "planned_last_mm"))
    error_mm, site = of(achieved - planned), np.arange(len(achieved))
    answers = {
        method: found_or_why(lambda with_x=with_x: mixed_model(population, error_mm, site, None, with_x)[0])
        for method, with_x in ((CRUDE, False), (G_COMPUTATION, True))
    }
    for kind in population.asked.weights:
        answers[kind] = found_or_why(lambda kind=kind: balanced_means(population, error_mm, kind))
    return comparison_rows(population, Outcome(analysis, "mm", "mm", measured=error_mm), answers)
