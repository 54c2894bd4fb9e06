"""Made-up drilling logs, pass by pass, with the study's own instruments and stops.

What is drawn next at a made-up site is what was done at real ones in the same situation: as deep a hole, as far from
the planned first and last depth, the same kind of pass before and the same feeling of the floor. Depths are compared as
the drill's travel, so that the same instrument and stop come to the same depth relative to the plan.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.geometry.depth import stop_length_mm
from liftseries.geometry.derived import derive
from liftseries.geometry.limits import Limits
from liftseries.study.schema import Table
from liftseries.twin.donors import draw_donors

# First what kind of pass comes next, or none; then with what.
WHICH_KIND = {
    "travel_before": 6.0, "to_first": 6.0, "to_last": 6.0, "last_travel": 3.0, "role_before": 6.0,
    "finding_before": 6.0, "opened": 6.0, "protocol": 4.0, "step_no": 1.0,
}  # fmt: skip
WITH_WHAT = {
    "travel_before": 20.0, "to_first": 30.0, "to_last": 10.0, "last_travel": 6.0, "finding_before": 3.0, "opened": 3.0,
    "protocol": 3.0,
}  # fmt: skip
N_DONORS = 5
RECORDED = ("speed_rpm", "intended_depth_mm")  # some centres record none of it
OF_SITE = ["site_id", "approach", "protocol", "centre"]


def draw_steps(
    tables: Mapping[str, pd.DataFrame],
    new_sites: pd.DataFrame,
    real_centre: pd.Series,
    limits: Limits,
    table: Table,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """The passes of made-up sites, the columns of the schema.

    Parameters
    ----------
    tables
        The real sites, steps, instruments and stops.
    new_sites
        The columns of sites, with site_id and centre.
    real_centre : shape (n_sites,)
        Centre of every real site.
    """
    drills = tables["instruments"], tables["stops"]
    real_sites = tables["sites"].assign(centre=real_centre.to_numpy())
    steps = tables["steps"]
    derived_steps, planned = derive(real_sites, steps, *drills, limits=limits, centre=real_sites["centre"])
    real_sites = _situation_of_sites(real_sites, planned, limits)
    by_site = steps.groupby("site_id")
    real_sites["logged"] = real_sites["site_id"].isin(steps["site_id"])
    for name in RECORDED:
        real_sites[f"has_{name}"] = real_sites["site_id"].map(by_site[name].count()).fillna(0) > 0
    pool = _situations(derived_steps, real_sites, tables["instruments"])

    _, planned = derive(new_sites, None, *drills, limits=limits, centre=new_sites["centre"])
    new = _situation_of_sites(new_sites, planned, limits)
    like = draw_donors(real_sites, new, rng, ["protocol"], ["approach", "centre"])
    flags = ["logged", *(f"has_{name}" for name in RECORDED)]
    new = new.assign(**{name: real_sites[name].to_numpy()[like] for name in flags})
    return _drill(new[new["logged"]], pool, tables, table, rng)


def _situation_of_sites(sites: pd.DataFrame, planned: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    """Planned first and last depth as travel; where there is no plan, what the bone asks for."""
    margin = sites["approach"].astype(object).map(dict(limits.first_depth_margin_mm)).astype(float)
    first = planned["planned_first_mm"].to_numpy(dtype=float)
    last = planned["planned_last_mm"].to_numpy(dtype=float)
    first = np.where(np.isnan(first), (sites["rbh_min_mm"] - margin).to_numpy(dtype=float), first)
    last = np.where(np.isnan(last), sites["rbh_max_mm"].to_numpy(dtype=float), last)
    platform = np.where(sites["approach"].eq("guided"), sites["platform_depth_mm"].to_numpy(dtype=float), 0.0)
    return sites[OF_SITE].assign(platform=platform, first=first - platform, last=last - platform)


def _situations(steps: pd.DataFrame, sites: pd.DataFrame, instruments: pd.DataFrame) -> pd.DataFrame:
    """Each real pass and the end of each log, with the situation that it was in; `ends` marks the latter."""
    role = instruments.set_index("instrument_id")["role"].astype(object)
    passes = steps.merge(sites, on="site_id").sort_values(["site_id", "step_no"], kind="stable", ignore_index=True)
    passes["role"] = passes["instrument_id"].map(role)
    # A gauge without a stop is set to no depth: what was meant counts from the hole, as does what was read on any.
    is_set = passes["role"].ne("gauge") | passes["stop_id"].notna()
    passes["travel"] = (passes["depth_mm"] - passes["platform"]).where(is_set)
    passes["missed"] = passes["intended_depth_mm"] - passes["depth_mm"].where(is_set, passes["deepest_before_mm"])
    passes["misread"] = passes["read_depth_mm"] - passes["deepest_before_mm"]
    ends = passes.drop_duplicates("site_id", keep="last")
    last = pd.RangeIndex(len(passes), len(passes) + len(ends))
    ends = ends[[*OF_SITE, "step_no", "platform", "first", "last", "logged", *(f"has_{name}" for name in RECORDED)]]
    ends = ends.assign(step_no=ends["step_no"] + 1).set_index(last)
    both = passes.reindex(passes.index.append(last))
    for name in ends:
        both[name] = pd.concat([passes[name], ends[name]])
    both["ends"] = np.arange(len(both)) >= len(passes)
    both["kind"] = both["role"].astype(object).fillna("none")
    both = both.sort_values(["site_id", "step_no"], kind="stable", ignore_index=True)
    by_site = both.groupby("site_id", sort=False)
    drilled = both["travel"].where(both["role"].ne("gauge"))
    both["travel_before"] = drilled.groupby(both["site_id"]).cummax().groupby(both["site_id"]).ffill()
    both["travel_before"] = both.groupby("site_id")["travel_before"].shift()
    opened = both["finding"].eq("open").groupby(both["site_id"]).cumsum() - both["finding"].eq("open")
    both["opened"] = (opened > 0).map({True: "yes", False: "no"})
    both["last_travel"] = by_site["travel"].shift()
    both["role_before"] = by_site["role"].shift().astype(object).fillna("nothing")
    both["finding_before"] = by_site["finding"].shift().astype(object).fillna("nothing")
    return _relative(both)


def _relative(passes: pd.DataFrame) -> pd.DataFrame:
    """How far the hole is from the plan; before the first pass it is at the crest."""
    hole = passes["travel_before"].fillna(-passes["platform"])
    return passes.assign(travel_before=hole, to_first=passes["first"] - hole, to_last=passes["last"] - hole)


def _drill(
    sites: pd.DataFrame, pool: pd.DataFrame, tables: Mapping[str, pd.DataFrame], table: Table, rng: np.random.Generator
) -> pd.DataFrame:
    instruments = tables["instruments"].set_index("instrument_id")
    stops = tables["stops"].set_index("stop_id")
    marked_on = stops["marked_on_length_mm"].where(stops["marking_means"].eq("depth"))
    takes_off = stop_length_mm(stops["marking_mm"].to_numpy(dtype=float), marked_on.to_numpy(dtype=float))
    takes_off = pd.Series(takes_off, index=stops.index)
    now = sites.assign(
        travel_before=np.nan, last_travel=np.nan, role_before="nothing", finding_before="nothing", opened="no"
    )
    told = []
    most = int(pool["step_no"].max()) if len(pool) else 0
    for number in range(1, most):
        if now.empty:
            break
        now = now.assign(step_no=number)
        within = ["approach", *(f"has_{name}" for name in RECORDED)]
        now = _relative(now)
        now["kind"] = pool["kind"].to_numpy()[draw_donors(pool, now, rng, WHICH_KIND, within, N_DONORS)]
        done = draw_donors(pool, now, rng, WITH_WHAT, ["approach", "kind", *within[1:]], N_DONORS)
        done = pool.iloc[done].reset_index(drop=True)
        goes_on = ~done["ends"].to_numpy(dtype=bool)
        now, done = now[goes_on].reset_index(drop=True), done[goes_on].reset_index(drop=True)
        if now.empty:
            break
        travel = done["instrument_id"].map(instruments["length_mm"]).astype(float)
        travel -= done["stop_id"].map(takes_off).astype(float).fillna(0.0)
        row = done[[name for name in table.columns if name in done]].assign(site_id=now["site_id"], step_no=number)
        is_drill = done["role"].ne("gauge")
        travel = travel.where(is_drill | done["stop_id"].notna())
        hole = (now["travel_before"] + now["platform"]).clip(lower=0.0)
        row["intended_depth_mm"] = ((travel + now["platform"]).fillna(hole) + done["missed"]).round(6)
        row["read_depth_mm"] = (hole + done["misread"]).round(6)
        told.append(row)
        now = now.assign(
            travel_before=np.fmax(now["travel_before"], travel.where(is_drill)),
            last_travel=travel,
            role_before=done["role"],
            finding_before=done["finding"].astype(object),
            opened=np.where(done["finding"].eq("open"), "yes", now["opened"]),
        )
    steps = tables["steps"]
    drawn = pd.concat(told, ignore_index=True) if told else steps.iloc[:0]
    drawn = drawn.sort_values(["site_id", "step_no"], kind="stable", ignore_index=True)
    return drawn[list(table.columns)].astype({name: steps[name].dtype for name in table.columns if name != "site_id"})
