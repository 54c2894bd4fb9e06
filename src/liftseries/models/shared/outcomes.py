"""Outcomes as the analyses take them: a perforation that is known, a bone gain at a visit."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark

PERFORATION_UNKNOWN = remark("label_unknown", column="perforation")  # why a site is left out


def gain_at_visits(visits: pd.DataFrame, cases: pd.DataFrame, columns: Sequence[str] | None = None) -> pd.DataFrame:
    """One row a visit with a bone height: `gain_mm`, `months` and the site's columns.

        gain_mm = bone_height_mm - rbh_mid_mm

    Parameters
    ----------
    visits : the contract's visits
    cases : one row a site, as `cases()` gives it
    columns : of the site beside its keys and `rbh_mid_mm`; all where none are named

    Source: the contract, "Depth arithmetic".
    """
    if "bone_height_mm" not in visits:
        return cases.iloc[:0].assign(months=np.zeros(0), gain_mm=np.zeros(0))
    measured = visits.loc[visits["bone_height_mm"].notna(), ["site_id", "months", "bone_height_mm"]]
    own = ("months", "bone_height_mm", "gain_mm")
    sites = cases.loc[cases["rbh_mid_mm"].notna(), columns_beside(cases, own, ("rbh_mid_mm",), columns)]
    gains = measured.merge(sites, on="site_id", how="inner", validate="many_to_one")
    gains["gain_mm"] = gains["bone_height_mm"].astype(float) - gains["rbh_mid_mm"].astype(float)
    return gains


def columns_beside(
    cases: pd.DataFrame, own: Sequence[str], needed: Sequence[str], asked: Sequence[str] | None
) -> list[str]:
    """Columns of the sites that go to each visit beside the visit's own: all, or the keys, those needed and asked."""
    wanted = cases if asked is None else {"site_id", "patient_id", *needed, *asked}
    return [column for column in cases if column in wanted and column not in own]


def visits_table(visits: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """derived/visits.csv: one row a visit, `gain_mm` empty where no bone height was taken."""
    keys = ["site_id", "months"]
    gains = gain_at_visits(visits, cases, ())[[*keys, "gain_mm"]]
    table = visits[keys].merge(cases[["site_id", "patient_id"]], on="site_id", how="left", validate="many_to_one")
    return table.merge(gains, on=keys, how="left", validate="one_to_one")[
        ["site_id", "patient_id", "months", "gain_mm"]
    ]


def known_perforation(cases: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Whether it is known if a site perforated, and whether it did; both shape (n_sites,), true/false."""
    perforation = cases["perforation"].astype(object)
    perforated = perforation.eq("yes").to_numpy(bool)
    return perforated | perforation.eq("no").to_numpy(bool), perforated


def n_perforations(cases: pd.DataFrame) -> int:
    """How many sites were perforated, whatever is known of their terms."""
    return int(cases["perforation"].eq("yes").sum())


def n_failures(implants: pd.DataFrame) -> int:
    """How many implants failed."""
    return int(implants["failed"].sum())
