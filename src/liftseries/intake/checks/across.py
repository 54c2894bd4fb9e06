"""Checks between rows and between tables: references, the order of a log, lives that can't have been lived.

Only sound cells take part, and what another finding explains is not told a second time.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from pandas.api.extensions import take

from liftseries.base.numbers import plain
from liftseries.geometry.depth import HAIR_MM, stop_length_mm
from liftseries.intake.draft.draft import Draft
from liftseries.study.expressions import as_array

ALIVE = ("functioning", "failed")
DEATH_RULES = ("one_death_a_patient", "no_life_after_death")
HAIR_YEARS = 1e-9  # months / 12 is no exact binary number


def check_across(drafts: Mapping[str, Draft]) -> None:
    """Finds what single rows can't show; the drafts gain the findings."""
    for draft in drafts.values():
        for column, parent in draft.table.references.items():
            if parent in drafts:
                _check_reference(draft, column, drafts[parent])
    if "steps" in drafts and len(drafts["steps"]):
        _check_log_order(drafts["steps"])
        _check_approach(drafts)
        _check_stops(drafts)
    if "visits" in drafts and len(drafts["visits"]):
        _check_life_of_sites(drafts["visits"])
        _check_deaths_of_patients(drafts)


# ── references ──────────────────────────────────────────────────────────────────────────────────


def _check_reference(draft: Draft, column: str, parent: Draft) -> None:
    if not parent.keys_are_readable or parent.lacks_rows:
        return
    readable = parent.keys()
    key = parent.table.key[0]
    dangling = draft.known(column) & ~draft.frame[column].isin(parent.frame.loc[readable, key]).to_numpy()
    if draft.frame.loc[dangling, column].nunique() <= (~readable).sum():
        # As many keys of the parent cannot be read: these may well be the ones that are missed.
        draft.sound[column][dangling] = False
        return
    message = f"stands in no row of {parent.table.name}. Correct it, or add the row there."
    for index in np.flatnonzero(dangling):
        draft.find("reference_is_known", index, column, message)


def look_up(child: pd.Series, parent: Draft, *columns: str) -> dict[str, np.ndarray]:
    """Columns of the parent's row that each key names.

    Parameters
    ----------
    child : shape (n_rows,), keys of the parent; missing where not sound
    parent
    columns
        A row counts only where all of its cells in them are sound (they may be empty).

    Returns
    -------
    column -> shape (n_rows,), numbers as float; missing where there is no such row
    """
    rows = parent.known(*parent.table.key) & np.logical_and.reduce([parent.sound[name] for name in columns])
    at = pd.Index(parent.frame[parent.table.key[0]].to_numpy()[rows]).get_indexer(child.to_numpy())
    return {name: take(as_array(parent.frame[name])[rows], at, allow_fill=True) for name in columns}


# ── the drilling log ────────────────────────────────────────────────────────────────────────────


def _check_log_order(steps: Draft) -> None:
    """Steps count 1, 2, 3 … at each site."""
    has_site, has_both = steps.known("site_id"), steps.known("site_id", "step_no")
    doubtful = set(steps.frame.loc[has_site & ~has_both, "site_id"])
    astray = np.flatnonzero(~has_site)
    log = steps.frame.loc[has_both, ["site_id", "step_no"]].sort_values(["site_id", "step_no"], kind="stable")
    log["row"] = log.index
    before = log.groupby("site_id", sort=False)[["step_no", "row"]].shift()
    last_step = before["step_no"].fillna(0)
    for index in log.index[(log["step_no"] > last_step + 1).to_numpy()]:
        step, last = int(log.at[index, "step_no"]), int(last_step[index])
        above = int(before.at[index, "row"]) if last else index - 2
        # A row of no known site that stands in the gap may be the one that is missing.
        if log.at[index, "site_id"] in doubtful or ((above < astray) & (astray < index)).any():
            continue
        found = f"step {step} follows step {last}" if last else f"the log begins with step {step}"
        message = f"{found}; steps count 1, 2, 3 … without a gap. Correct the number or add the missing row."
        steps.find("steps_have_no_gap", index, "step_no", message)


def _check_approach(drafts: Mapping[str, Draft]) -> None:
    steps = drafts["steps"]
    step = steps.masked()
    site = look_up(step["site_id"], drafts["sites"], "approach")["approach"]
    own = look_up(step["instrument_id"], drafts["instruments"], "approach")["approach"]
    wrong = pd.notna(site) & pd.notna(own) & (site != own)
    for index in np.flatnonzero(wrong):
        message = (
            f"a {own[index]} instrument at a {site[index]} site. "
            "Correct it, or the approach in sites or in instruments."
        )
        steps.find("instrument_fits_the_site", index, "instrument_id", message)


def _check_stops(drafts: Mapping[str, Draft]) -> None:
    """A stop swallows no instrument; a pass that ends at or above the crest is told of, and drills nothing."""
    steps = drafts["steps"]
    step = steps.masked()
    instrument = look_up(step["instrument_id"], drafts["instruments"], "length_mm", "approach", "role")
    site = look_up(step["site_id"], drafts["sites"], "platform_depth_mm", "guide_offset_mm")
    has_stop = step["stop_id"].notna().to_numpy()
    takes_off = np.where(steps.sound["stop_id"] & ~has_stop, 0.0, _stop_lengths(step, drafts["stops"]))
    left = instrument["length_mm"] - takes_off
    guided = instrument["approach"] == "guided"
    # How far the tip leaves what holds the shoulder: the top of the guide, or the shoulder itself.
    swallowed = left + np.where(guided, site["guide_offset_mm"], 0.0) <= HAIR_MM
    for index in np.flatnonzero(swallowed):
        message = (
            f"the stop takes {plain(round(takes_off[index], 6))} mm off an instrument of "
            f"{plain(instrument['length_mm'][index])} mm, so that its tip stays in the "
            f"{'guide' if guided[index] else 'stop'}. Correct it, or the lengths in stops or instruments."
        )
        steps.find("stop_is_shorter_than_the_instrument", index, "stop_id", message)
    is_set = has_stop | (instrument["role"] != "gauge")
    depth = left + np.where(guided, site["platform_depth_mm"], 0.0)
    for index in np.flatnonzero(is_set & (depth <= HAIR_MM) & ~swallowed):
        stood = f"a pass that ends {plain(round(abs(depth[index]), 6))} mm above the crest"
        stood = "a pass that ends at the crest" if abs(depth[index]) <= HAIR_MM else stood
        steps.decide(index, "instrument_id", stood, "a pass that drills nothing", "pass_above_the_crest")


def _stop_lengths(step: pd.DataFrame, stops: Draft) -> np.ndarray:
    """What each pass's stop takes off, mm; NaN where that is not known; shape (n_steps,)."""
    stop = look_up(step["stop_id"], stops, "marking_mm", "marking_means", "marked_on_length_mm")
    marked_on = np.where(stop["marking_means"] == "depth", stop["marked_on_length_mm"], np.nan)
    return stop_length_mm(stop["marking_mm"], marked_on)


# ── follow-up ───────────────────────────────────────────────────────────────────────────────────


def _check_life_of_sites(visits: Draft) -> None:
    """No implant works after it failed; nobody is seen after death, or dies twice."""
    known = visits.frame[visits.known("site_id", "months", "status")]
    known = known.sort_values(["site_id", "months"], kind="stable")
    died, failed = _came_before(known, "patient_died"), _came_before(known, "failed")
    # What comes after a death is told once.
    failed = failed.mask(died.notna())
    status = known["status"]
    _find_first(visits, died[status.isin(ALIVE)], "no_life_after_death", "seen after the patient's death in")
    _find_first(visits, died[status == "patient_died"], "one_death_a_patient", "a second death after the one in")
    _find_first(visits, failed[status == "functioning"], "no_life_after_failure", "works after it failed in")


def _find_first(visits: Draft, earlier: pd.Series, rule: str, told: str) -> None:
    """One finding for each earlier row, since one wrong row makes all that follow look wrong."""
    for index, other in earlier.dropna().astype(int).drop_duplicates().items():
        message = f"{told} {visits.row_seen_from(other, index)}. Correct the status or months of one of the two."
        visits.find(rule, index, "status", message, partner=other)


def _came_before(visits: pd.DataFrame, status: str) -> pd.Series:
    """For each visit the row of its site's first visit of that status, where it came before; else missing."""
    first = visits[visits["status"] == status].drop_duplicates("site_id").reset_index().set_index("site_id")
    months = visits["site_id"].map(first["months"])
    return visits["site_id"].map(first["index"]).where(months < visits["months"])


def _check_deaths_of_patients(drafts: Mapping[str, Draft]) -> None:
    """Deaths told at several sites must be able to be the same one, and nobody is seen after it.

    Only the year of surgery is known: a visit fell within the year that begins at surgery_year + months/12;
    months count from placement, which follows surgery by an unknown time where it was staged.
    """
    visits = drafts["visits"]
    seen = _dated(visits, drafts["sites"])
    doubtful = [finding.partner for finding in visits.findings if finding.rule in DEATH_RULES]
    seen = seen[~seen["patient_id"].isin(seen.loc[seen.index.isin(doubtful), "patient_id"])]
    deaths = seen[seen["status"] == "patient_died"]
    first = deaths.drop_duplicates("patient_id").reset_index().set_index("patient_id")
    earliest, latest = (deaths["patient_id"].map(first[name]) for name in ("earliest", "latest"))
    apart = (deaths["earliest"] >= latest - HAIR_YEARS) | (earliest >= deaths["latest"] - HAIR_YEARS)
    _find_other_site(visits, deaths[apart], first, "one_death_a_patient", "a death in another year than the one in")

    agreed = deaths[~deaths["patient_id"].isin(deaths.loc[apart, "patient_id"])]
    soonest = agreed.sort_values("latest", kind="stable").drop_duplicates("patient_id")
    soonest = soonest.reset_index().set_index("patient_id")
    alive = seen[seen["status"].isin(ALIVE)]
    after = alive[alive["earliest"] >= alive["patient_id"].map(soonest["latest"]) - HAIR_YEARS]
    after = after.drop_duplicates("patient_id")
    _find_other_site(visits, after, soonest, "no_life_after_death", "seen after the death in")


def _dated(visits: Draft, sites: Draft) -> pd.DataFrame:
    """Sound visits, their patient_id, and between which years (`earliest`, `latest`) they can have been."""
    seen = visits.frame.loc[visits.known("site_id", "months", "status"), ["site_id", "months", "status"]]
    site = look_up(seen["site_id"], sites, "patient_id", "surgery_year", "placement")
    earliest = site["surgery_year"] + seen["months"] / 12
    latest = earliest.mask(site["placement"] == "staged", np.inf) + 1
    dated = seen.assign(patient_id=site["patient_id"], earliest=earliest, latest=latest)
    return dated[dated["patient_id"].notna() & dated["earliest"].notna()]


def _find_other_site(visits: Draft, rows: pd.DataFrame, death: pd.DataFrame, rule: str, told: str) -> None:
    for index, patient in rows["patient_id"].items():
        other = int(death.at[patient, "index"])
        message = (
            f"{told} {visits.row_seen_from(other, index)}, of the same patient at another site. "
            "Correct the months here or there, or surgery_year in sites."
        )
        visits.find(rule, index, "status", message, partner=other)
