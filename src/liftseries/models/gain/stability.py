"""How firmly the implants stood when they were placed: insertion torque and resonance-frequency stability."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.gain.means import PATIENTS, mean_row, quoted
from liftseries.models.shared.follow_up import NO_IMPLANT, with_implant
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

SCALES = {"stability.torque": "ncm", "stability.isq": "isq"}
COLUMNS = {"stability.torque": "torque_ncm", "stability.isq": "isq"}
QUARTILES = {"q1": 0.25, "median": 0.5, "q3": 0.75}
STATISTICS = ("mean", "sd", *QUARTILES)


def fit_stability(cases: pd.DataFrame, by: Sequence[str] = ()) -> Estimates:
    """Mean with a patient-clustered interval, standard deviation and quartiles of torque and ISQ.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it; sites without an implant do not count
    by : columns whose levels are subsets besides `all`; those that the cases lack are passed over

    Returns
    -------
    Estimates
        Terms `mean`, and without an interval `sd`, `q1`, `median`, `q3` (quartiles as R's type 7), of
        `stability.torque`, scale `ncm`, and `stability.isq`, scale `isq`; of `all` alone where none was measured.
    """
    rows: list[dict] = []
    effects: list[dict] = []
    left_out = []
    by = [column for column in by if column in cases]
    for analysis in COLUMNS:
        known = stability_known(cases, analysis)
        for subset, member in subsets(cases, by if known.any() else ()):
            of_subset, design_effects = _rows(analysis, subset, cases.loc[member & known])
            rows += of_subset
            effects += design_effects
        left_out += [left_out_table(analysis, subset, reasons) for subset, reasons in _reasons(analysis, cases, by)]
    return Estimates(results_table(rows), pd.concat(left_out, ignore_index=True), design_effects=results_table(effects))


def stability_known(cases: pd.DataFrame, analysis: str) -> np.ndarray:
    """Sites with an implant whose torque, or ISQ, was measured; shape (n_sites,)."""
    column = COLUMNS[analysis]
    if column not in cases:
        return np.zeros(len(cases), bool)
    return with_implant(cases) & cases[column].notna().to_numpy(bool)


def _rows(analysis: str, subset: str, sites: pd.DataFrame) -> tuple[list[dict], list[dict]]:
    fit = Fit(
        analysis=analysis,
        subset=subset,
        scale=SCALES[analysis],
        method=PATIENTS,
        n_sites=len(sites),
        n_patients=sites["patient_id"].nunique(),
    )
    if sites.empty:
        nowhere = remark("value_not_recorded")
        return [fit.row(term, problem=nowhere) for term in STATISTICS], []
    value = sites[COLUMNS[analysis]].to_numpy(float)
    mean, effects = mean_row(fit, "mean", value, sites["patient_id"].to_numpy())
    alone = remark("one_measurement")
    sd = fit.row("sd", float(value.std(ddof=1))) if len(value) > 1 else fit.row("sd", problem=alone)
    quartiles = [fit.row(term, float(np.quantile(value, share))) for term, share in QUARTILES.items()]
    return [mean, *(quoted(row, len(value)) for row in (sd, *quartiles))], effects


def _reasons(analysis: str, cases: pd.DataFrame, by: Sequence[str]) -> Iterator[tuple[str, list[tuple[str, int]]]]:
    """Subset, or the column of which a level is missing, and why how many sites were left out."""
    placed, known = with_implant(cases), stability_known(cases, analysis)
    missing = remark("number_missing", column=COLUMNS[analysis])
    yield "all", [(NO_IMPLANT, int((~placed).sum())), (missing, int((placed & ~known).sum()))]
    for column in by:
        unknown = known & (as_levels(cases[column]).codes < 0)
        yield column, [(remark("label_unknown", column=column), int(unknown.sum()))]
