"""Odd sites beside others: a tooth twice, molars side by side, a tear that the log does not show, a second implant."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.intake.oddities.joined import HAIR, Joined, rows_told
from liftseries.intake.oddities.labels import folded

BESIDE = {16: 17, 17: 18, 26: 27, 27: 28}  # a molar -> the one behind it


def tooth_twice_in_a_patient(joined: Joined) -> pd.DataFrame:
    """Both sites."""
    known = joined.sites.dropna(subset=["patient_id", "tooth"])
    return rows_told(known.index[known.duplicated(["patient_id", "tooth"], keep=False)])


def neighbouring_molars_differ(joined: Joined, above: float) -> pd.DataFrame:
    """Both sites, with the larger difference where a molar lies between two."""
    known = joined.sites.dropna(subset=["patient_id", "tooth", "rbh_mid_mm"])
    known = known[["patient_id", "tooth", "rbh_mid_mm"]].rename_axis("row").reset_index()
    ahead = known.assign(tooth=known["tooth"].map(BESIDE)).dropna(subset=["tooth"])
    ahead["tooth"] = ahead["tooth"].astype(known["tooth"].dtype)
    pairs = ahead.merge(known, on=["patient_id", "tooth"], suffixes=("", "_behind"))
    pairs["differs_mm"] = (pairs["rbh_mid_mm"] - pairs["rbh_mid_mm_behind"]).abs()
    pairs = pairs[pairs["differs_mm"] > above + HAIR]
    both = pd.concat([pairs.set_index(name)["differs_mm"] for name in ("row", "row_behind")])
    largest = both.groupby(level=0).max()
    return rows_told(largest.index, differs_mm=largest.to_numpy())


def tear_while_drilling_never_open(joined: Joined) -> pd.DataFrame:
    """A log without a `closed` or `open` finding tells nothing of the floor, and is passed over."""
    sites, steps = joined.sites, joined.tables["steps"]
    finding = steps["finding"].astype(object)
    felt, opened = (set(steps.loc[finding.isin(levels), "site_id"]) for levels in (("closed", "open"), ("open",)))
    noticed = sites["perforation"].eq("yes") & sites["perforation_stage"].eq("drilling")
    return rows_told(sites.index[noticed & sites["site_id"].isin(felt - opened)])


def more_than_one_implant(joined: Joined) -> pd.DataFrame:
    """Sites that failed at two visits, and both of two sites of a patient whose ids are alike."""
    sites, visits = joined.sites, joined.visits
    failures = visits.loc[visits["status"].astype(object).eq("failed"), "site_id"].value_counts()
    alike = pd.DataFrame({"patient": sites["patient_id"], "id": folded(sites["site_id"])}).dropna()
    twice = alike.index[alike.duplicated(keep=False)]
    again = sites["site_id"].map(failures).fillna(0) >= 2
    return rows_told(np.union1d(twice, sites.index[again]))


def patient_in_two_centres(joined: Joined, sites: float) -> pd.DataFrame:
    """Patients with an id alike at another centre, and those of an operator who else works at another one alone."""
    patients = joined.tables["patients"]
    alike = pd.DataFrame({"id": folded(patients["patient_id"]), "centre": patients["centre"]}).dropna()
    # Two labels of one centre are told as such.
    alike["centre"] = folded(alike["centre"])
    elsewhere = alike.index[alike.groupby("id")["centre"].transform("nunique") > 1]
    foreign = _with_a_foreign_operator(joined.sites, int(sites))
    return rows_told(np.union1d(elsewhere, patients.index[patients["patient_id"].isin(foreign)]))


def _with_a_foreign_operator(sites: pd.DataFrame, fewest: int) -> set:
    """Patients of an operator who has `fewest` other sites or more, all of them at one other centre."""
    known = sites[["operator", "centre", "patient_id"]].dropna().astype(str)
    known["centre"] = folded(known["centre"])

    def count(*columns: str) -> pd.Series:
        return known.groupby([*columns])["operator"].transform("size")

    own = count("operator", "patient_id")
    n_other = count("operator") - own
    none_here = count("operator", "centre").eq(own)
    one_other = known.groupby("operator")["centre"].transform("nunique").eq(2)
    return set(known.loc[none_here & one_other & (n_other >= fewest), "patient_id"])
