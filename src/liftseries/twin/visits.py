"""Made-up follow-up: a patient's visits one after the other, until the patient stays away or dies.

From each visit the next one is drawn as from real visits that were as late and of as old a surgery: how much later it
is, whether anybody was examined, or that none follows. All sites of a patient are seen together, each at its own
months since placement, so that a death is one and the same everywhere and nobody is seen after it. At every
examination an implant that still stands may be found lost, with the chance that a logistic model gives (a hazard in
discrete time); nothing follows at that site.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.study.schema import Table
from liftseries.twin.donors import draw_column, draw_donors, event_chance, resolution

BEFORE_THE_FIRST = -12.0  # months: parts whoever has had no visit yet from whoever has
NEXT = {"months": 4.0, "n_seen": 1.0, "surgery_year": 1.5, "centre": 0.5}
HAZARD = ["months", "waited", "rbh_mid_mm", "protrusion_mm", "smoking", "approach", "is_first"]
BLUR_MONTHS = 0.25  # standard deviation that the time to the next visit is blurred by
MOST_VISITS = 200
OF_VISIT = {
    "bone_height_mm": (
        {"bone_height_mm_before": 3.0, "rbh_mid_mm": 2.0, "protrusion_mm": 2.0, "months": 1.0, "graft": 1.0},
        ["status"],
    ),
    "marginal_bone_mm": ({"marginal_bone_mm_before": 1.0, "months": 1.0, "smoking": 0.5}, ["status"]),
    "complication": (["months"], ["status", "is_first"]),
}
OF_OTHERS = (["months"], ["status"])  # any other column, one of the study's own among them
GAPS = (["months", "surgery_year"], ["status", "centre"])
NAMED = ("site_id", "months", "status")  # drawn by themselves
TERMS = ["patient_id", "surgery_year", "placement", "rbh_mid_mm", "protrusion_mm", "approach", "graft"]


def draw_visits(
    visits: pd.DataFrame, real_sites: pd.DataFrame, new_sites: pd.DataFrame, table: Table, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray]:
    """The visits of made-up sites.

    Parameters
    ----------
    visits
        The real ones.
    real_sites, new_sites
        With `site_id`, the columns of `TERMS`, and centre and smoking of the patient.

    Returns
    -------
    new visits : the columns of the schema
    gaps : shape (n_new,), row in `visits` whose empty cells each has
    """
    real = _in_order(visits, real_sites)
    step = resolution(visits["months"].to_numpy(dtype=float)) if len(visits) else 1.0
    timeline = _timelines(real, _seen_from(real, real_sites), new_sites, step, rng)
    new = _fates(_at_sites(timeline, new_sites, step), real, new_sites, rng)
    return _findings(real, new, table, rng)


def _in_order(visits: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """The real visits site by site, with what is known of the site and of the visit before; `row` in `visits`."""
    ordered = visits.assign(row=np.arange(len(visits))).sort_values(["site_id", "months"], kind="stable")
    ordered = ordered.merge(sites, on="site_id", how="left")
    return _with_the_visit_before(ordered)


def _with_the_visit_before(visits: pd.DataFrame) -> pd.DataFrame:
    by_site = visits.groupby("site_id", sort=False)
    before = by_site[[name for name in visits if name not in TERMS and name != "site_id"]].shift().add_suffix("_before")
    n_seen, months = by_site.cumcount(), before["months_before"]
    waited = (visits["months"] - months.fillna(0)).astype(float)
    return pd.concat([visits, before], axis=1).assign(n_seen=n_seen, waited=waited, is_first=n_seen == 0)


# ── when a patient comes ────────────────────────────────────────────────────────────────────────


def _seen_from(real: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """What followed on every real visit, and on every placement: one row each.

    months, n_seen, surgery_year, centre: from where; next (visit, death, end), waited, examined: what followed.
    A failed implant's own end is nobody's staying away, so nothing is told of what follows on it.
    """
    placed = sites[sites["placement"].ne("none")]
    start = placed[["site_id", "surgery_year", "centre"]].assign(months=BEFORE_THE_FIRST, n_seen=0)
    from_visit = real[["site_id", "surgery_year", "centre", "months", "status"]].assign(n_seen=real["n_seen"] + 1)
    from_visit = from_visit[~from_visit["status"].isin(["failed", "patient_died"])].drop(columns="status")
    to = real[["site_id", "n_seen", "waited", "status"]]
    followed = pd.concat([start, from_visit], ignore_index=True).merge(to, on=["site_id", "n_seen"], how="left")
    what = np.select([followed["status"].isna(), followed["status"].eq("patient_died")], ["end", "death"], "visit")
    return followed.assign(next=what, examined=followed["status"].isin(["functioning", "failed"]))


def _timelines(
    real: pd.DataFrame, seen: pd.DataFrame, sites: pd.DataFrame, step: float, rng: np.random.Generator
) -> pd.DataFrame:
    """Visits of patients: patient_id, months since the first placement, n_seen, examined, death."""
    placed = sites[sites["placement"].ne("none")].drop_duplicates("patient_id")
    now = placed[["patient_id", "surgery_year", "centre"]].assign(months=BEFORE_THE_FIRST, n_seen=0)
    told = [now.iloc[:0].assign(examined=False, death=False)]
    for _ in range(MOST_VISITS if len(seen) else 0):
        if now.empty:
            break
        followed = seen.iloc[draw_donors(seen, now, rng, NEXT)]
        kind, waited = followed["next"].to_numpy(), followed["waited"].to_numpy(dtype=float)
        blurred = waited + rng.normal(0, BLUR_MONTHS, waited.size)
        waited = np.round(np.where(waited == 0, 0.0, blurred) / step) * step
        is_first = now["n_seen"].to_numpy() == 0
        months = np.where(is_first, 0.0, now["months"]) + np.maximum(waited, np.where(is_first, 0.0, step))
        now = now.assign(months=np.round(months, 6), n_seen=now["n_seen"] + 1)
        now = now.assign(examined=followed["examined"].to_numpy(), death=kind == "death")[kind != "end"]
        told.append(now)
        now = now.loc[~now["death"], ["patient_id", "surgery_year", "centre", "months", "n_seen"]]
    return pd.concat(told, ignore_index=True)


def _at_sites(timeline: pd.DataFrame, sites: pd.DataFrame, step: float) -> pd.DataFrame:
    """The same visits as each site has them: months since its own placement, which may be years after the first.

    A later placement is a visit of its own. A patient of whom it is told cannot have died before.
    """
    placed = sites[sites["placement"].ne("none")]
    first = placed.groupby("patient_id")["surgery_year"].transform("first")
    placed = placed.assign(later=12.0 * (placed["surgery_year"] - first).to_numpy(dtype=float))
    at = placed.merge(timeline[["patient_id", "months", "examined", "death"]], on="patient_id")
    last_placed = at.groupby("patient_id")["later"].transform("max")
    at = at[~(at["death"] & (at["months"] < last_placed))]
    at = at.assign(months=(at["months"] - at["later"]).round(6))
    end = at.groupby("site_id")["months"].transform("max")
    begins = at[(at["later"] > 0) & (end > 0)].drop_duplicates("site_id")
    begins = begins.assign(months=0.0, examined=True, death=False)
    at = at[at["death"] | (at["months"] >= np.where(at["later"] > 0, 1.0, 0.0))]
    at = pd.concat([at, begins]).sort_values(["patient_id", "site_id", "months"], kind="stable", ignore_index=True)
    return at.drop(columns="later")


def _fates(at: pd.DataFrame, real: pd.DataFrame, sites: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The status at every visit; what would come after a failure is gone."""
    new = _with_the_visit_before(at)
    examined = real[real["status"].isin(["functioning", "failed"])].reset_index(drop=True)
    chance = event_chance(examined, new, examined["status"].eq("failed").to_numpy(), HAZARD)
    failed = new["examined"].to_numpy(dtype=bool) & (rng.random(len(new)) < chance)
    status = np.where(failed, "failed", np.where(new["examined"], "functioning", "not_examined"))
    new["status"] = pd.Series(np.where(new["death"], "patient_died", status)).astype(real["status"].dtype)
    after = pd.Series(failed).groupby(new["site_id"]).cumsum().to_numpy() > failed
    return new[~after].reset_index(drop=True)


# ── what is found ───────────────────────────────────────────────────────────────────────────────


def _findings(
    real: pd.DataFrame, new: pd.DataFrame, table: Table, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray]:
    """The other columns, visit by visit, so that each follows on what the visit before found."""
    drawn = OF_VISIT | {name: OF_OTHERS for name in table.columns if name not in {*NAMED, *OF_VISIT}}
    number, gaps = new["n_seen"].to_numpy(), np.full(len(new), -1)
    columns = list(table.columns)
    if new.empty:
        return real[columns].iloc[:0], gaps
    before, done = real[["site_id", *drawn]].iloc[:0], []
    for turn in range(number.max() + 1):
        rows = np.flatnonzero(number == turn)
        now = new.iloc[rows].reset_index(drop=True)
        last = before.set_index("site_id").reindex(now["site_id"]).add_suffix("_before").reset_index(drop=True)
        now = pd.concat([now, last], axis=1)
        at = draw_donors(real, now, rng, *GAPS)
        gaps[rows] = real["row"].to_numpy()[at]
        for name, (near, within) in drawn.items():
            hidden = real[name].isna().to_numpy()[at] if table.columns[name].optional else None
            now[name] = draw_column(real, now, table.columns[name], rng, near, within, hidden)
        before = now[["site_id", *drawn]]
        done.append(now.set_index(rows))
    return pd.concat(done).sort_index()[columns], gaps
