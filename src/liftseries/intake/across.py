"""Checks between rows and between tables: references, the order of a log, and lives that cannot have been lived.

Only sound cells take part, and what another finding explains is not told a second time.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.geometry.depth import HAIR_MM, stop_length_mm
from liftseries.intake.cells import plain
from liftseries.intake.draft import Draft

HAIR_YEARS = 1e-9  # months / 12 is no exact binary number


def check_across(drafts: Mapping[str, Draft]) -> None:
    """Finds what single rows can't show; the drafts gain the findings."""
    for draft in drafts.values():
        for column, parent in draft.table.references.items():
            if parent in drafts:
                _check_reference(draft, column, drafts[parent])
    if "steps" in drafts:
        _check_log_order(drafts["steps"])
        _check_approach(drafts)
        _check_stops(drafts)
    if "visits" in drafts:
        _check_life_of_sites(drafts["visits"])
        _check_deaths_of_patients(drafts)


# ── references ────────────────────────────────────────────────────────────────────────────────────────────────


def _check_reference(draft: Draft, column: str, parent: Draft) -> None:
    given = draft.known(column) | (draft.repeated if column in draft.table.key else False)
    if not parent.keys_are_readable:
        return
    readable = parent.keys()
    key = parent.table.key[0]
    dangling = given & ~draft.frame[column].isin(parent.frame.loc[readable, key]).to_numpy()
    if draft.frame.loc[dangling, column].nunique() <= (~readable).sum():
        # As many keys of the parent cannot be read: these may well be the ones that are missed.
        draft.sound[column][dangling] = False
        return
    for index in np.flatnonzero(dangling):
        message = f"stands in no row of {parent.table.name}. Correct it, or add the row there."
        draft.find("reference_is_known", index, column, message)


def look_up(child: pd.Series, parent: Draft, *columns: str) -> pd.DataFrame:
    """Columns of the parent's row that each key names.

    Parameters
    ----------
    child : shape (n_rows,), keys of the parent; missing where not sound
    parent
    columns
        A row counts only where all of its cells in them are sound (they may be empty).

    Returns
    -------
    shape (n_rows, len(columns)), all missing where there is no such row
    """
    rows = parent.known(*parent.table.key) & np.logical_and.reduce([parent.sound[name] for name in columns])
    known = parent.frame.loc[rows].set_index(parent.table.key[0])[list(columns)]
    return known.astype({name: object for name in known.select_dtypes("category")}).reindex(child.to_numpy())


# ── the drilling log ──────────────────────────────────────────────────────────────────────────────────────────


def _check_log_order(steps: Draft) -> None:
    """Steps count 1, 2, 3 … at each site."""
    known = steps.known("site_id", "step_no")
    has_site = steps.known("site_id")
    # The first site_id of two alike is sound while their step_no is not: such a site is in doubt altogether.
    doubtful = set(steps.frame.loc[has_site & ~known, "site_id"])
    astray = steps.frame.loc[~has_site & steps.sound["step_no"], "step_no"].dropna()
    if (~has_site & ~steps.known("step_no")).any():
        return  # a row of no known site and no known step may fill any gap
    log = steps.frame.loc[known, ["site_id", "step_no"]].sort_values(["site_id", "step_no"], kind="stable")
    before = log.groupby("site_id", sort=False)["step_no"].shift(fill_value=0)
    for index in log.index[(log["step_no"] > before + 1).to_numpy()]:
        site, step, last = log.at[index, "site_id"], int(log.at[index, "step_no"]), int(before[index])
        if site in doubtful or set(range(last + 1, step)) <= set(astray):
            continue
        found = f"step {step} follows step {last}" if last else f"the log begins with step {step}"
        message = f"{found}; steps count 1, 2, 3 … without a gap. Correct the number or add the missing row."
        steps.find("steps_have_no_gap", index, "step_no", message)


def _check_approach(drafts: Mapping[str, Draft]) -> None:
    steps = drafts["steps"]
    step = steps.masked()
    site = look_up(step["site_id"], drafts["sites"], "approach")["approach"].to_numpy()
    own = look_up(step["instrument_id"], drafts["instruments"], "approach")["approach"].to_numpy()
    wrong = pd.notna(site) & pd.notna(own) & (site != own)
    for index in np.flatnonzero(wrong):
        message = (
            f"a {own[index]} instrument at a {site[index]} site. "
            "Correct it, or the approach in sites or in instruments."
        )
        steps.find("instrument_fits_the_site", index, "instrument_id", message)


def _check_stops(drafts: Mapping[str, Draft]) -> None:
    steps = drafts["steps"]
    step = steps.masked()
    length = look_up(step["instrument_id"], drafts["instruments"], "length_mm")["length_mm"].to_numpy(float)
    stop = look_up(step["stop_id"], drafts["stops"], "marking_mm", "marking_means", "marked_on_length_mm")
    is_depth = (stop["marking_means"] == "depth").to_numpy()
    marked_on = np.where(is_depth, stop["marked_on_length_mm"].to_numpy(float), np.nan)
    takes_off = stop_length_mm(stop["marking_mm"].to_numpy(float), marked_on)
    for index in np.flatnonzero(takes_off > length + HAIR_MM):
        message = (
            f"the stop takes {plain(round(takes_off[index], 6))} mm off an instrument of {plain(length[index])} mm. "
            "Correct it, or the lengths in stops or instruments."
        )
        steps.find("stop_is_shorter_than_the_instrument", index, "stop_id", message)


# ── follow-up ─────────────────────────────────────────────────────────────────────────────────────────────────


def _check_life_of_sites(visits: Draft) -> None:
    """No implant works after it failed; nobody is seen after death, or dies twice."""
    known = visits.frame[visits.known("site_id", "months", "status")]
    known = known.sort_values(["site_id", "months"], kind="stable")
    first = {
        status: known[known["status"] == status].groupby("site_id").head(1).reset_index().set_index("site_id")
        for status in ("failed", "patient_died")
    }

    def earlier(status: str) -> pd.Series:
        """For each visit the row of the site's first one of that status, where it came before; else missing."""
        months = known["site_id"].map(first[status]["months"])
        return known["site_id"].map(first[status]["index"]).where(months < known["months"])

    for index, failed_at, died_at in zip(known.index, earlier("failed"), earlier("patient_died"), strict=True):
        status = known.at[index, "status"]
        if pd.notna(died_at) and status in ("functioning", "failed"):
            _find_life(visits, index, int(died_at), "no_life_after_death", f"{status} after the patient's death in")
        elif pd.notna(died_at) and status == "patient_died":
            _find_life(visits, index, int(died_at), "one_death_a_patient", "a second death, after the one in")
        elif pd.notna(failed_at) and status == "functioning":
            _find_life(visits, index, int(failed_at), "no_life_after_failure", "functioning after the failure in")


def _find_life(visits: Draft, index: int, other: int, rule: str, told: str) -> None:
    message = f"{told} {visits.row_seen_from(other, index)}. Correct the status or the months of one of the two."
    visits.find(rule, index, "status", message, partner=other)


def _check_deaths_of_patients(drafts: Mapping[str, Draft]) -> None:
    """Deaths told at several sites must be able to be the same one, and nobody is seen after it.

    Only the year of surgery is known, so a visit fell within the year that begins at surgery_year + months/12.
    Months count from placement, which follows surgery by an unknown time where it was staged.
    """
    visits, sites = drafts["visits"], drafts["sites"]
    rows = visits.known("site_id", "months", "status")
    seen = visits.frame.loc[rows, ["site_id", "months", "status"]]
    site = look_up(seen["site_id"], sites, "patient_id", "surgery_year", "placement").set_axis(seen.index)
    has_patient = site["patient_id"].notna() & site["surgery_year"].notna()
    seen, site = seen[has_patient], site[has_patient]
    earliest = site["surgery_year"].astype(float) + seen["months"] / 12
    latest = (earliest + 1).mask(site["placement"] == "staged", np.inf)
    seen = seen.assign(patient_id=site["patient_id"], earliest=earliest, latest=latest)
    in_doubt = set(
        site.loc[site.index.intersection([f.partner for f in visits.findings if f.rule == "one_death_a_patient"]), "patient_id"]
    )
    deaths = seen[(seen["status"] == "patient_died") & ~seen["patient_id"].isin(in_doubt)]
    for patient, told in deaths.groupby("patient_id", sort=False):
        first = told.iloc[0]
        apart = (told["earliest"] >= first["latest"] - HAIR_YEARS) | (first["earliest"] >= told["latest"] - HAIR_YEARS)
        for index in told.index[apart]:
            message = (
                f"a death in another year than the one in {visits.row_seen_from(first.name, index)}, of the same patient. "
                "Correct the months here or there, or surgery_year in sites."
            )
            visits.find("one_death_a_patient", index, "status", message, partner=first.name)
        if apart.any():
            continue
        over = told["latest"].min()
        last = told["latest"].idxmin()
        alive = seen[(seen["patient_id"] == patient) & seen["status"].isin(["functioning", "failed"])]
        for index in alive.index[alive["earliest"] >= over - HAIR_YEARS]:
            message = (
                f"seen after the death in {visits.row_seen_from(last, index)}, of the same patient at another site. "
                "Correct the months here or there, or surgery_year in sites."
            )
            visits.find("no_life_after_death", index, "status", message, partner=last)


__all__ = ["check_across", "look_up"]
