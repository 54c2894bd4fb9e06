"""What was done at surgery, as recorded: lift methods, grafts, volumes against the dome, loading, implants' sizes.

Counts, means and quartiles, patients as clusters. A volume counts where some was used: fluid above 0, graft above 0.
Its ratio is to the dome of the planned lift (`dome_ml`), where the implant stands into the sinus at all.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.described import (
    NOT_RECORDED,
    labels,
    levels_of,
    numbers,
    share_row,
    statistic_rows,
)
from liftseries.models.shared.follow_up import with_implant
from liftseries.models.shared.levels import subsets
from liftseries.models.shared.outcomes import known_perforation
from liftseries.models.shared.results import Estimates, left_out_table, results_table

LIFT_METHOD, GRAFT, SURGERY = "series.lift_method", "series.graft", "series.surgery"
ONE_OR_SEVERAL = "series.one_or_several"
GRAFTED, NO_GRAFT = "grafted", "none"
# What is measured at surgery -> its unit; a ratio is to the dome.
MEASURED = {
    "fluid_ml": "ml",
    "graft_ml": "ml",
    "fluid_ml/dome_ml": "ratio",
    "graft_ml/dome_ml": "ratio",
    "loading_months": "months",
}
SIZES = ["implant_length_mm", "implant_diameter_mm", "n_sites", "n_patients"]


@dataclass(frozen=True)
class SurgeryRecorded(Estimates):
    """What was recorded of surgery.

    Attributes
    ----------
    sizes : columns SIZES, a row a length and diameter of the implants placed
    """

    sizes: pd.DataFrame


def describe_surgery(cases: pd.DataFrame, implants: pd.DataFrame) -> SurgeryRecorded:
    """Shares, volumes, times and sizes.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it; columns that are not there were not recorded
    implants : as `follow_up` gives them
    """
    patient = cases["patient_id"].to_numpy()
    rows = [*lift_methods(cases), *grafts(cases)]
    for measure, unit in MEASURED.items():
        rows += statistic_rows((SURGERY, "all", f"{measure} "), measured(cases, measure), patient, unit)
    rows += one_or_several(cases, implants)
    n_unknown = int((labels(cases, "lift_method") == "").sum())
    left_out = left_out_table(LIFT_METHOD, "all", [(remark("label_unknown", column="lift_method"), n_unknown)])
    return SurgeryRecorded(results_table(rows), left_out, sizes=implant_sizes(cases))


def lift_methods(cases: pd.DataFrame) -> list[dict]:
    """The share of each lift method among the sites that have theirs recorded."""
    level, patient = labels(cases, "lift_method"), cases["patient_id"].to_numpy()
    used = level != ""
    problem = "" if used.any() else NOT_RECORDED
    return [
        share_row((LIFT_METHOD, "all", term), level[used] == term, patient[used], problem=problem)
        for term in levels_of("lift_method")
    ]


def grafts(cases: pd.DataFrame) -> list[dict]:
    """The share of sites with a graft, of all and by lift method."""
    graft, patient = labels(cases, "graft"), cases["patient_id"].to_numpy()
    rows = []
    for subset, member in subsets(cases, [column for column in ("lift_method",) if column in cases]):
        used = member & (graft != "")
        problem = "" if used.any() else NOT_RECORDED
        rows.append(share_row((GRAFT, subset, GRAFTED), graft[used] != NO_GRAFT, patient[used], problem=problem))
    return rows


def measured(cases: pd.DataFrame, measure: str) -> np.ndarray:
    """A measure of `MEASURED` at each site, NaN where there is none; shape (n_sites,)."""
    column, _, by = measure.partition("/")
    values = numbers(cases, column)
    if column.endswith("_ml"):
        values = np.where(values > 0, values, np.nan)
    if not by:
        return values
    dome_ml = numbers(cases, by)
    return np.divide(values, dome_ml, out=np.full(len(values), np.nan), where=dome_ml > 0)


def one_or_several(cases: pd.DataFrame, implants: pd.DataFrame) -> list[dict]:
    """Tears and failures of patients with one site and with several, as counted."""
    known, torn = known_perforation(cases)
    several = sites_of_patient(cases) > 1
    failed_at = set(implants.loc[implants["failed"].to_numpy(bool), "site_id"].astype(object))
    followed = cases["site_id"].astype(object).isin(set(implants["site_id"].astype(object))).to_numpy(bool)
    failed = cases["site_id"].astype(object).isin(failed_at).to_numpy(bool)
    patient, alone = cases["patient_id"].to_numpy(), remark("counts_alone")
    rows = []
    for outcome, used, event, note in (("tears", known, torn, ""), ("failures", followed, failed, alone)):
        for name, group in (("one", ~several), ("several", several)):
            here = used & group
            place = (ONE_OR_SEVERAL, "all", f"{outcome} {name}")
            problem = "" if here.any() else NOT_RECORDED
            rows.append(share_row(place, event[here], patient[here], note=note, problem=problem))
    return rows


def sites_of_patient(cases: pd.DataFrame) -> np.ndarray:
    """How many sites each site's patient has in the series; shape (n_sites,)."""
    return cases.groupby("patient_id", observed=True)["site_id"].transform("size").to_numpy(int)


def implant_sizes(cases: pd.DataFrame) -> pd.DataFrame:
    """How many implants of each length and diameter were placed; columns SIZES."""
    placed = cases.loc[with_implant(cases)]
    lengths, diameters = numbers(placed, SIZES[0]), numbers(placed, SIZES[1])
    known = np.isfinite(lengths) & np.isfinite(diameters)
    table = pd.DataFrame({SIZES[0]: lengths, SIZES[1]: diameters, "patient_id": placed["patient_id"].astype(object)})
    grouped = table.loc[known].groupby(SIZES[:2], sort=True)["patient_id"]
    counts = pd.DataFrame({"n_sites": grouped.size(), "n_patients": grouped.nunique()}).reset_index()
    return counts.reindex(columns=SIZES)
