"""What the series looks like: flow, characteristics, missing values, as counted.

Nothing here is estimated. Shares are of what is known; empty and `unknown` count as missing. Opens no file.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.shared.follow_up import EXAMINED, with_implant
from liftseries.models.shared.levels import as_levels, is_missing, is_number, subsets
from liftseries.models.shared.outcomes import known_perforation
from liftseries.study.schema import columns_by_name, derived_schema, listed_by, read_schema

_HANDED_IN, _DERIVED = read_schema(), derived_schema()
PATIENT_COLUMNS = listed_by("described", _HANDED_IN["patients"])
SITE_COLUMNS = listed_by("described", _HANDED_IN["sites"], _DERIVED["sites"], _DERIVED["bands"])
MAY_BE_MISSING = listed_by("gaps_shown", _HANDED_IN["patients"]) + listed_by("gaps_shown", _HANDED_IN["sites"])
LABEL_COLUMNS = tuple(name for name, column in columns_by_name().items() if column.is_label)
CHARACTERISTICS = [
    "unit",
    "column",
    "level",
    "subset",
    "n",
    "n_known",
    "n_missing",
    "share",
    "mean",
    "sd",
    "median",
    "q1",
    "q3",
]


@dataclass(frozen=True)
class Description:
    """The tables that describe a series; see the functions of their names."""

    setting: pd.DataFrame
    flow: pd.DataFrame
    characteristics: pd.DataFrame
    missing: pd.DataFrame


def describe_series(
    cases: pd.DataFrame, visits: pd.DataFrame, counts: pd.DataFrame, not_applicable: pd.DataFrame
) -> Description:
    """Years and operators, flow, characteristics and missing values.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    visits : the contract's visits
    counts : rows read, kept and set aside, a file a row
    not_applicable : `site_id` and a true/false column a column of sites: nothing was to be recorded there
    """
    flagged = cases[["site_id"]].merge(not_applicable, "left", "site_id")
    return Description(setting(cases), flow(cases, visits, counts), characteristics(cases), missingness(cases, flagged))


def setting(cases: pd.DataFrame) -> pd.DataFrame:
    """`first_year, last_year` of surgery and `n_operators`, in one row; none where no site is there."""
    if cases.empty:
        return pd.DataFrame(columns=["first_year", "last_year", "n_operators"])
    years = pd.to_numeric(cases["surgery_year"])
    operators = cases["operator"].astype("string")
    row = {
        "first_year": years.min(),
        "last_year": years.max(),
        "n_operators": operators[~is_missing(operators)].nunique(),
    }
    return pd.DataFrame([row])


def flow(cases: pd.DataFrame, visits: pd.DataFrame | None, counts: pd.DataFrame) -> pd.DataFrame:
    """How many patients and sites were read, set aside, and reached each stage.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    visits : the contract's visits, or None where the study has none
    counts : `table, file, read, kept, set_aside`, rows a file

    Returns
    -------
    `stage, n_patients, n_sites`
        `read`, `set aside`, `in the series`, `with a drilling log`, `perforation known`, `with an implant`,
        `followed` (an implant seen in function or failed, or its patient reported dead).
        From `in the series` on, a patient counts while one of their sites does.
    """
    by_table = counts.groupby("table")[["read", "set_aside"]].sum().reindex(["patients", "sites"], fill_value=0)
    rows = [("read", *by_table["read"]), ("set aside", *by_table["set_aside"])]

    for stage, reached in stages_reached(cases, visits).items():
        there = cases.loc[reached]
        rows.append((stage, there["patient_id"].nunique(), len(there)))
    return pd.DataFrame(rows, columns=["stage", "n_patients", "n_sites"])


def stages_reached(cases: pd.DataFrame, visits: pd.DataFrame | None) -> dict[str, np.ndarray]:
    """Stage -> which sites reached it, shape (n_sites,); tables as for `flow`, stages from `in the series` on."""
    seen = pd.DataFrame({"site_id": [], "status": []}) if visits is None else visits[["site_id", "status"]]
    seen = seen.astype(object)
    examined = seen.loc[seen["status"].isin(EXAMINED)]
    placed = with_implant(cases)
    return {
        "in the series": np.ones(len(cases), bool),
        "with a drilling log": cases["first_too_deep"].notna().to_numpy(bool),
        "perforation known": known_perforation(cases)[0],
        "with an implant": placed,
        "followed": placed & cases["site_id"].isin(examined["site_id"]).to_numpy(bool),
    }


def characteristics(
    cases: pd.DataFrame,
    by: str = "protocol",
    patient_columns: Sequence[str] = PATIENT_COLUMNS,
    site_columns: Sequence[str] = SITE_COLUMNS,
) -> pd.DataFrame:
    """Patients and sites of the series, overall and by group.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by : column whose levels are the groups
    patient_columns : counted once a patient; a patient with sites in two groups counts in both
    site_columns : counted once a site; columns that `cases` has not are passed over

    Returns
    -------
    `unit, column, level, subset, n, n_known, n_missing, share, mean, sd, median, q1, q3`
        A label has a row a level with `n` and its `share` of n_known; a number has one row with level ""
        and mean, SD, median and quartiles (R's type 7).
    """
    rows: list[dict] = []
    described = [column for column in (*patient_columns, *site_columns) if column in cases]
    # Of the whole series: a group in which no value is known has the levels, too, and says how many are missing.
    levels = {
        column: [] if _is_measured(cases[column]) else as_levels(cases[column]).categories for column in described
    }
    for subset, member in subsets(cases, [by]):
        sites = cases.loc[member]
        patients = sites.drop_duplicates("patient_id")
        for unit, table, columns in (("patient", patients, patient_columns), ("site", sites, site_columns)):
            for column in columns:
                if column in table:
                    place = {"unit": unit, "column": column, "subset": subset}
                    rows += [place | row for row in summary(table[column], levels[column])]
    return _integers(pd.DataFrame(rows, columns=CHARACTERISTICS), "n", "n_known", "n_missing")


def _is_measured(column: pd.Series) -> bool:
    return is_number(column) and column.name not in LABEL_COLUMNS


def summary(column: pd.Series, levels: Sequence[str]) -> list[dict]:
    """Rows of `characteristics` for one column of one group; `levels` are those of the whole series."""
    if _is_measured(column):
        values = column.to_numpy(float, na_value=np.nan)
        known = values[np.isfinite(values)]
        row = {"level": "", "n": len(known), "n_known": len(known), "n_missing": len(values) - len(known)}
        if len(known):
            q1, median, q3 = np.quantile(known, [0.25, 0.5, 0.75])
            sd = known.std(ddof=1) if len(known) > 1 else np.nan
            row |= {"mean": known.mean(), "sd": sd, "median": median, "q1": q1, "q3": q3}
        return [row]
    values = pd.Categorical(as_levels(column), categories=levels)
    codes = values.codes[values.codes >= 0]
    n_known, n_missing = len(codes), len(values) - len(codes)
    counts = np.bincount(codes, minlength=len(levels))
    shared = {"n_known": n_known, "n_missing": n_missing}
    return [
        {"level": str(level), "n": int(n), "share": n / n_known if n_known else np.nan} | shared
        for level, n in zip(levels, counts, strict=True)
    ]


def missingness(
    table: pd.DataFrame,
    not_applicable: pd.DataFrame | None = None,
    columns: Sequence[str] = MAY_BE_MISSING,
    by: str = "centre",
) -> pd.DataFrame:
    """How many values of each column are empty or `unknown`, overall and by centre, and why.

    Parameters
    ----------
    table : any table that has `columns` and `by`; a row is one unit
    not_applicable : row for row as `table`, true where a value is empty because there was nothing to record
        A column that it lacks, or without it every column, applies to all rows.
    columns : which to look at; those that `table` has not are passed over
    by : column whose levels are the groups

    Returns
    -------
    `column, subset, n, n_missing, n_not_applicable, share`
        n_not_applicable of the n_missing were not to be recorded, the others were not recorded; share is
        n_missing of n, for a model can use neither.
    """
    missing = {column: is_missing(table[column]) for column in columns if column in table}
    flagged = pd.DataFrame() if not_applicable is None else not_applicable
    moot = {column: is_empty & _flags(flagged, column, len(table)) for column, is_empty in missing.items()}
    rows = []
    for subset, member in subsets(table, [by]):
        n = int(member.sum())
        for column, is_empty in missing.items():
            n_missing = int(is_empty[member].sum())
            n_moot = int(moot[column][member].sum())
            rows.append((column, subset, n, n_missing, n_moot, n_missing / n if n else np.nan))
    return pd.DataFrame(rows, columns=["column", "subset", "n", "n_missing", "n_not_applicable", "share"])


def _flags(flagged: pd.DataFrame, column: str, n: int) -> np.ndarray:
    return flagged[column].to_numpy(bool) if column in flagged else np.zeros(n, dtype=bool)


def _integers(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    return table.astype(dict.fromkeys(columns, "Int64"))
