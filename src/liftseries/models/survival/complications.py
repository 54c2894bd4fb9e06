"""How often there was a complication: the share of patients, and of sites, with each kind."""

from collections.abc import Sequence

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.due import HAIR
from liftseries.models.shared.levels import as_levels, subsets
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import exact_row, share_row

RATE, FIRST_YEAR = "complications.rate", "complications.first_year"
PATIENTS, SITES = "patients", "sites"
ANY, NONE = "any", "none"
YEAR_MONTHS = 12.0


def fit_complications(visits: pd.DataFrame, cases: pd.DataFrame, by: Sequence[str] = ()) -> Estimates:
    """Share of patients and of sites with each kind of complication at any visit.

    Parameters
    ----------
    visits : the contract's visits; rows of sites that are not in `cases` are ignored
    cases : one row a site, as `cases()` gives it
    by : columns whose levels are subsets besides `all`

    Returns
    -------
    Estimates
        `complications.rate`, and for all sites `complications.first_year` from the visits up to month 12. Terms the
        kinds and `any`, scale `risk`, of the sites (method `sites`), or the patients (method `patients`, who are the
        events), of whom a visit says whether there was one.

    Source: `exact` for patients, who are independent; `share_of_patients` for sites.
    """
    asked = asked_at_visits(visits, cases)
    kinds = kinds_of(visits)
    rows, effects = [], []
    of_first_year = asked[asked["months"] <= YEAR_MONTHS + HAIR]
    for analysis, part, columns in ((RATE, asked, by), (FIRST_YEAR, of_first_year, ())):
        for subset, member in subsets(cases, columns):
            here = part[part["site_id"].isin(cases.loc[member, "site_id"])]
            for kind in (ANY, *kinds):
                told, effect = _rows(analysis, subset, kind, here)
                rows += told
                effects += effect
    n_silent = len(cases) - asked["site_id"].nunique()
    left_out = left_out_table(RATE, "all", [(remark("complications_not_recorded"), n_silent)])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def asked_at_visits(visits: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """`site_id, patient_id, months, complication` of the visits that say whether there was a complication."""
    columns = ["site_id", "months", "complication"]
    if "complication" not in visits:
        return pd.DataFrame(columns=["site_id", "patient_id", "months", "complication"])
    told = visits.loc[visits["complication"].notna(), columns].astype({"site_id": object, "complication": object})
    return told.merge(cases[["site_id", "patient_id"]].astype(object), on="site_id", how="inner")


def kinds_of(visits: pd.DataFrame) -> list[str]:
    """The kinds of complication that the table may hold, in their order."""
    if "complication" not in visits:
        return []
    return [kind for kind in map(str, as_levels(visits["complication"]).categories) if kind != NONE]


def with_kind(asked: pd.DataFrame, kind: str) -> pd.DataFrame:
    """The visits with a complication of that kind, or of any."""
    return asked[asked["complication"].ne(NONE) if kind == ANY else asked["complication"].eq(kind)]


def _rows(analysis: str, subset: str, kind: str, asked: pd.DataFrame) -> tuple[list[dict], list[dict]]:
    """One row a method, and the design effect of the share of sites."""
    sites = asked.drop_duplicates("site_id")
    ever = with_kind(asked, kind)
    event = sites["site_id"].isin(ever["site_id"]).to_numpy(bool)
    n, k, k_ever = len(sites), sites["patient_id"].nunique(), ever["patient_id"].nunique()
    shared = {"analysis": analysis, "subset": subset, "scale": "risk", "n_sites": n, "n_patients": k}
    of_patients = Fit(method=PATIENTS, n_events=k_ever, **shared)
    of_sites = Fit(method=SITES, n_events=int(event.sum()), **shared)
    if n == 0:
        none = remark("complications_not_recorded")
        return [fit.row(kind, problem=none) for fit in (of_patients, of_sites)], []
    by_patient = exact_row(of_patients, kind, k_ever, k)
    row, effects = share_row(of_sites, kind, event, sites["patient_id"].to_numpy(), headline=False)
    return [by_patient, row], effects
