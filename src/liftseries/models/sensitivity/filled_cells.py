"""The outcomes again without the cells that were empty in their file and that study.yaml takes for an answer."""

from collections.abc import Sequence

import pandas as pd

from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.results import Estimates, left_out_table, results_table
from liftseries.models.survival.complications import ANY, fit_complications
from liftseries.models.survival.km import fit_survival_km

ANALYSIS = "sensitivity.filled_cells"
PATIENTS, CORRECTED = "patients", "corrected"


def fit_sensitivity_filled_cells(
    cases: pd.DataFrame, visits: pd.DataFrame, filled: pd.DataFrame, months: Sequence[float]
) -> Estimates:
    """Share perforated, survival and patients with a complication where an empty cell counts as nothing recorded.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    visits : the contract's visits
    filled : `table, column, site_id, months`, a row a cell that was empty and was taken for an answer
    months : at which survival is asked for

    Returns
    -------
    Estimates
        Terms `perforation`, `survival at 12` and `complication`, each where a cell of it was empty, made as the quoted
        row of perforation.rate, survival.km and complications.rate. A visit whose status was empty is no visit.
    """
    told: list[tuple[Estimates, str, str, str]] = []
    if (cells := filled[filled["column"].eq("perforation")]).size:
        empty = cases["site_id"].astype(str).isin(cells["site_id"].astype(str))
        perforation = cases["perforation"].astype(object).mask(empty)
        told.append((fit_perforation_rate(cases.assign(perforation=perforation)), PATIENTS, "rate", "perforation"))
    if (cells := filled[filled["column"].eq("status")]).size:
        implants = follow_up(visits[~_at(visits, cells)], cases).implants
        fitted = fit_survival_km(implants, months)
        told += [(fitted, CORRECTED, f"{month:g}", f"survival at {month:g}") for month in months]
    if (cells := filled[filled["column"].eq("complication")]).size:
        complication = visits["complication"].astype(object).mask(_at(visits, cells))
        fitted = fit_complications(visits.assign(complication=complication), cases)
        told.append((fitted, PATIENTS, ANY, "complication"))
    rows = [_renamed(*one) for one in told]
    effects = [_renamed_effects(*one) for one in told]
    return Estimates(
        pd.concat([results_table([]), *rows], ignore_index=True) if rows else results_table([]),
        left_out_table(ANALYSIS, "all", []),
        design_effects=pd.concat(effects, ignore_index=True) if effects else results_table([]),
    )


def _at(visits: pd.DataFrame, cells: pd.DataFrame) -> pd.Series:
    """Which visits have one of the cells."""
    keys = pd.MultiIndex.from_arrays([cells["site_id"].astype(str), cells["months"].astype(float)])
    at = pd.MultiIndex.from_arrays([visits["site_id"].astype(str), visits["months"].astype(float)])
    return pd.Series(at.isin(keys), index=visits.index)


def _first_analysis(fitted: Estimates) -> str:
    return fitted.rows["analysis"].iloc[0]


def _renamed(fitted: Estimates, method: str, term: str, outcome: str) -> pd.DataFrame:
    rows = fitted.rows
    chosen = rows["analysis"].eq(_first_analysis(fitted)) & rows["subset"].eq("all")
    chosen &= rows["method"].eq(method) & rows["term"].eq(term)
    return rows[chosen].assign(analysis=ANALYSIS, term=outcome, headline=False)


def _renamed_effects(fitted: Estimates, method: str, term: str, outcome: str) -> pd.DataFrame:
    effects = fitted.design_effects
    chosen = effects["subset"].eq("all") & effects["method"].eq(method)
    chosen &= effects["term"].eq(f"{_first_analysis(fitted)} {term}")
    return effects[chosen].assign(term=f"{ANALYSIS} {outcome}")
