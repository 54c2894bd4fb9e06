"""`run --centre`: of what came in the rows of one centre's patients, and all that refers to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from difflib import SequenceMatcher

import numpy as np
import pandas as pd

from liftseries.base.errors import UsageError
from liftseries.intake.told.findings import Finding, as_table
from liftseries.intake.told.intake import Intake

WHOLE = ("instruments", "stops")  # every centre's
NEAREST = 3  # names that are told where a centre is none


def known_centre(centres: pd.Series, centre: str) -> str:
    """The centre, where it is one of these.

    Raises
    ------
    UsageError
        No patient is of it; names the nearest.
    """
    known = sorted(centres.dropna().astype(str).unique())
    if centre not in known:
        like = {name: SequenceMatcher(None, centre.casefold(), name.casefold()).ratio() for name in known}
        near = sorted(known, key=lambda name: -like[name])[:NEAREST]
        raise UsageError(f"--centre {centre}: no patient is of that centre. The nearest names: {', '.join(near)}.")
    return centre


def narrowed(intake: Intake, lines: Iterable[Finding], centre_of: Callable[[Finding], str], centre: str) -> Intake:
    """What is left for one centre; instruments and stops stay whole.

    Parameters
    ----------
    intake : of the whole study
    lines : why rows were set aside, as `intake.set_aside` lists them
    centre_of : whose row a line is of
    centre

    Returns
    -------
    Intake
        Tables, their places, what was set aside, decided, filled, corrected and counted; findings stay those of the
        study.
    """
    at = _positions(intake.tables, centre)
    places = {name: _at(table, at[name]) for name, table in intake.places.items()}
    lines = [line for line in lines if line.table in WHOLE or centre_of(line) == centre]
    set_aside = as_table(lines)
    left = [table.assign(table=name) for name, table in places.items()] + [set_aside]
    rows = pd.concat([table[["table", "file", "row"]] for table in left], ignore_index=True).drop_duplicates()
    counts = _counted(intake.counts, places, set_aside)
    decisions, sites = intake.decisions, _at(intake.tables["sites"], at["sites"])["site_id"]
    of_files = decisions["row"].isna() & _among(decisions, counts, ["table", "file"])
    return replace(
        intake,
        tables={name: _at(table, at[name]) for name, table in intake.tables.items()},
        not_applicable={name: _at(table, at[name]) for name, table in intake.not_applicable.items()},
        places=places,
        place_of=lambda name, row, column: intake.place_of(name, int(at[name][row]), column),
        lines=lines,
        counts=counts,
        decisions=decisions[of_files | _among(decisions, rows, ["table", "file", "row"])].reset_index(drop=True),
        filled=intake.filled[intake.filled["site_id"].isin(sites)].reset_index(drop=True),
        corrected=intake.corrected[_among(intake.corrected, rows, ["table", "file", "row"])].reset_index(drop=True),
    )


def _positions(tables: dict[str, pd.DataFrame], centre: str) -> dict[str, np.ndarray]:
    """Table -> positions of the rows that stay."""
    keep = {name: np.ones(len(table), bool) for name, table in tables.items()}
    keep["patients"] = tables["patients"]["centre"].eq(centre).fillna(False).to_numpy(bool)
    for name, column, parent in (
        ("sites", "patient_id", "patients"), ("steps", "site_id", "sites"), ("visits", "site_id", "sites"),
    ):  # fmt: skip
        if name in tables:
            keep[name] = tables[name][column].isin(tables[parent].loc[keep[parent], column]).to_numpy(bool)
    return {name: np.flatnonzero(kept) for name, kept in keep.items()}


def _at(table: pd.DataFrame, positions: np.ndarray) -> pd.DataFrame:
    return table.iloc[positions].reset_index(drop=True)


def _among(table: pd.DataFrame, rows: pd.DataFrame, by: list[str]) -> np.ndarray:
    """Whether each row of the table is among those, shape (n_rows,)."""
    keys, known = (pd.MultiIndex.from_frame(side[by].astype(str)) for side in (table, rows))
    return keys.isin(known)


def _counted(counts: pd.DataFrame, places: dict[str, pd.DataFrame], set_aside: pd.DataFrame) -> pd.DataFrame:
    """Rows read, kept and set aside a file, of the centre alone; a file that holds none of its rows is left out."""
    kept = pd.concat([place.assign(table=name) for name, place in places.items()], ignore_index=True)
    gone = set_aside[["table", "file", "row"]].drop_duplicates()
    by = ["table", "file"]
    index = pd.MultiIndex.from_frame(counts[by])
    n = {name: rows.groupby(by).size().reindex(index, fill_value=0).to_numpy(int)
         for name, rows in (("kept", kept), ("set_aside", gone))}  # fmt: skip
    own = counts.assign(**n, read=n["kept"] + n["set_aside"])
    own = own.where(~counts["table"].isin(WHOLE), counts)
    return own[own["read"] > 0].astype(counts.dtypes.to_dict()).reset_index(drop=True)
