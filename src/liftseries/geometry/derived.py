"""Whole tables at once: sites, log, instruments and stops in; derived steps and sites out.

The columns are those of derived/steps.csv and derived/sites.csv in the contract.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from itertools import pairwise

import numpy as np
import pandas as pd

from liftseries.geometry import depth, deviations, floor, ladder
from liftseries.geometry.limits import Limits

PASSES_A_BLOCK = 100_000
STEP_COLUMNS = ("stop_length_mm", "depth_mm", "deepest_before_mm", "advance_mm", "engagement_mm")
SITE_COLUMNS = (
    "site_id", "rbh_mid_mm", "floor_slope_deg", "protrusion_mm", "dome_ml",
    "planned_first_mm", "planned_last_mm", "planned_rungs", "plan_problem",
    "achieved_first_mm", "achieved_last_mm", "breakthrough_mm",
    "first_error_mm", "last_error_mm", "overdrill_mm", "ended",
    *deviations.DEVIATIONS,
)  # fmt: skip


def derive(
    sites: pd.DataFrame,
    steps: pd.DataFrame | None,
    instruments: pd.DataFrame,
    stops: pd.DataFrame,
    limits: Limits,
    centre: pd.Series,
) -> tuple[pd.DataFrame | None, pd.DataFrame]:
    """Depths of every pass, and plan, achievement and deviations of every site.

    Parameters
    ----------
    sites, steps, instruments, stops
        Checked tables; `steps` None where the study has no drilling log.
    limits
    centre : shape (n_sites,)
        Of each site: whether the floor was probed is judged only where some log of the centre tells of a probing.

    Returns
    -------
    steps with the columns of `STEP_COLUMNS` appended (None without a log), and the table of `SITE_COLUMNS`,
    both in the order of the rows given; the former shares its other columns' memory with `steps`
    """
    derived = _floor(sites, limits).assign(**_planned(sites, instruments, stops, limits))
    if steps is None:
        return None, _without_log(derived)
    site = pd.Index(sites["site_id"]).get_indexer(steps["site_id"])
    sources = _sources(sites, steps, instruments, stops, site)
    judged_by = {
        "rbh_max_mm": _floats(sites["rbh_max_mm"]),
        "first_limit_mm": _floats(sites["rbh_min_mm"]) - _margin(sites, limits),
        "planned_first_mm": derived["planned_first_mm"].to_numpy(),
    }
    measured = {name: np.empty(len(steps)) for name in STEP_COLUMNS}
    found = _nothing_found(len(sites))
    for rows in _blocks(site, steps["step_no"].to_numpy(dtype=np.int64)):
        log = _log(sources, rows)
        passes = _passes(log)
        for name in STEP_COLUMNS:
            measured[name][rows] = log[name] if name in log else getattr(passes, name)
        logged = log["site"][passes.starts]
        reached = deviations.achieved(passes, limits.depth_tolerance_mm)
        flags = deviations.judge(
            passes,
            reached,
            **{name: values[logged] for name, values in judged_by.items()},
            step_mm=limits.step_mm,
            tolerance_mm=limits.depth_tolerance_mm,
            speed_limit_rpm=limits.speed_limit_rpm,
        )
        for name, values in {**vars(reached), **vars(flags), **vars(deviations.told(passes)), "log": True}.items():
            found[name][logged] = values
    found["probing"] = _at_any_site_of(centre, found["probing"])
    # Not `assign`: it would copy every column of the log.
    derived_steps = pd.DataFrame({**steps, **measured}, copy=False)
    return derived_steps, _judged(derived, judged_by["rbh_max_mm"], found, limits.depth_tolerance_mm)


def centre_of_sites(sites: pd.DataFrame, patients: pd.DataFrame) -> pd.Series:
    """The centre of each site's patient; shape (n_sites,)."""
    return sites["patient_id"].map(patients.set_index("patient_id")["centre"])


def reach(instruments: pd.DataFrame, stops: pd.DataFrame, approach: str, gauges: bool = False) -> ladder.Reach:
    """The settings of an approach's drills, or of its gauges; row numbers are those of the tables given."""
    rows = np.flatnonzero((instruments["approach"] == approach) & ((instruments["role"] == "gauge") == gauges))
    chosen = instruments.iloc[rows]
    settings = ladder.settings(
        _floats(chosen["length_mm"]),
        _floats(chosen["diameter_mm"]),
        _floats(chosen["guide_shank_mm"]),
        depth.stop_length_mm(_floats(stops["marking_mm"]), _marked_on(stops)),
        _marked_on(stops),
    )
    return ladder.Reach(**{**vars(settings), "instrument": rows[settings.instrument]})


def _floats(column: pd.Series) -> depth.Array:
    # Asked for its missing values, pandas copies even a column of floats.
    return column.to_numpy() if column.dtype == float else column.to_numpy(dtype=float, na_value=np.nan)


def _marked_on(stops: pd.DataFrame) -> depth.Array:
    return np.where(stops["marking_means"] == "depth", _floats(stops["marked_on_length_mm"]), np.nan)


def _platform(sites: pd.DataFrame) -> depth.Array:
    """Platform depth, mm; 0 freehand, where depths are counted from the crest."""
    return np.where(sites["approach"] == "guided", _floats(sites["platform_depth_mm"]), 0.0)


def _margin(sites: pd.DataFrame, limits: Limits) -> depth.Array:
    return _floats(sites["approach"].astype(object).map(dict(limits.first_depth_margin_mm)))


def _floor(sites: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    lowest, highest = _floats(sites["rbh_min_mm"]), _floats(sites["rbh_max_mm"])
    middle = floor.rbh_mid_mm(lowest, highest)
    # The planned platform counts here also freehand: the lift depends on where the implant will stand.
    lift = floor.protrusion_mm(_floats(sites["platform_depth_mm"]), _floats(sites["implant_length_mm"]), middle)
    return pd.DataFrame(
        {
            "site_id": sites["site_id"].to_numpy(),
            "rbh_mid_mm": middle,
            "floor_slope_deg": floor.floor_slope_deg(lowest, highest, _floats(sites["implant_diameter_mm"])),
            "protrusion_mm": lift,
            "dome_ml": floor.dome_ml(lift, limits.lift_base_radius_mm),
        }
    )


def _planned(sites: pd.DataFrame, instruments: pd.DataFrame, stops: pd.DataFrame, limits: Limits) -> dict:
    n_sites, platform = len(sites), _platform(sites)
    first, last = np.full(n_sites, np.nan), np.full(n_sites, np.nan)
    rungs, problem = np.zeros(n_sites, dtype=np.int64), np.full(n_sites, None, dtype=object)
    lowest, highest = _floats(sites["rbh_min_mm"]), _floats(sites["rbh_max_mm"])
    for approach, margin in limits.first_depth_margin_mm.items():
        rows = np.flatnonzero(sites["approach"] == approach)
        travel = reach(instruments, stops, approach).travel_mm
        plans = ladder.plan_ladders(travel, lowest[rows], highest[rows], platform[rows], margin, limits.step_mm)
        first[rows], last[rows] = plans.first_mm, plans.last_mm
        rungs[rows], problem[rows] = plans.n_rungs, plans.problem
    return {
        "planned_first_mm": first,
        "planned_last_mm": last,
        "planned_rungs": pd.arrays.IntegerArray(rungs, rungs == 0),
        "plan_problem": problem,
    }


def _sources(
    sites: pd.DataFrame, steps: pd.DataFrame, instruments: pd.DataFrame, stops: pd.DataFrame, site: np.ndarray
) -> tuple:
    """What passes need of each table: every pass's row there (None for the log itself), and the columns."""
    instrument = pd.Index(instruments["instrument_id"]).get_indexer(steps["instrument_id"])
    stop = pd.Index(stops["stop_id"]).get_indexer(steps["stop_id"])
    stop_length = depth.stop_length_mm(_floats(stops["marking_mm"]), _marked_on(stops))
    return (
        (
            None,
            {
                "site": site,
                "speed_rpm": _floats(steps["speed_rpm"]),
                "intended_depth_mm": _floats(steps["intended_depth_mm"]),
                "read_depth_mm": _floats(steps["read_depth_mm"]),
                "found_closed": (steps["finding"] == "closed").to_numpy(dtype=bool),
                "found_open": (steps["finding"] == "open").to_numpy(dtype=bool),
                "has_stop": stop >= 0,
            },
        ),
        (
            site,
            {
                "guided": (sites["approach"] == "guided").to_numpy(dtype=bool),
                "platform_mm": _platform(sites),
                "guide_offset_mm": _floats(sites["guide_offset_mm"]),
                "soft_tissue_mm": _floats(sites["soft_tissue_mm"]),
            },
        ),
        (
            instrument,
            {
                "is_drill": (instruments["role"] != "gauge").to_numpy(dtype=bool),
                "length_mm": _floats(instruments["length_mm"]),
                "guide_shank_mm": _floats(instruments["guide_shank_mm"]),
            },
        ),
        (
            stop,
            {
                # -1, no stop, picks the last entry: it takes nothing off and has no marking.
                "stop_length_mm": np.append(stop_length, 0.0),
                "marking_mm": np.append(_floats(stops["marking_mm"]), np.nan),
                "marked_as_depth": np.append((stops["marking_means"] == "depth").to_numpy(dtype=bool), False),
            },
        ),
    )


def _blocks(site: np.ndarray, step_no: np.ndarray) -> Iterator[np.ndarray]:
    """Rows of some whole logs at a time, site by site in the order of the passes.

    So a million sites need little more memory than their tables.
    """
    order = np.lexsort((step_no, site))
    begins = np.append(np.flatnonzero(np.diff(site[order], prepend=-1)), site.size)
    wanted = np.arange(0, site.size + PASSES_A_BLOCK, PASSES_A_BLOCK).clip(max=site.size)
    cuts = np.unique(begins[np.searchsorted(begins, wanted)])
    for begin, end in pairwise(cuts):
        yield order[begin:end]


def _log(sources: tuple, rows: np.ndarray) -> dict[str, np.ndarray]:
    """The rows of the log with what they need of the other tables."""
    log = {}
    for row_there, columns in sources:
        there = rows if row_there is None else row_there[rows]
        log.update({name: values[there] for name, values in columns.items()})
    return log


def _passes(log: dict) -> deviations.Passes:
    length, marking, platform = log["length_mm"], log["marking_mm"], log["platform_mm"]
    starts = np.flatnonzero(np.diff(log["site"], prepend=-1))
    set_to = depth.drill_depth_mm(length, log["stop_length_mm"], platform)
    reached = np.where(log["is_drill"] | log["has_stop"], set_to, log["read_depth_mm"])
    before = depth.deepest_before_mm(reached, log["is_drill"], starts)
    held = depth.engagement_mm(
        np.where(log["guided"] & log["is_drill"], log["guide_shank_mm"], np.nan),
        before,
        length,
        platform,
        log["guide_offset_mm"],
        log["soft_tissue_mm"],
    )
    return deviations.Passes(
        starts=starts,
        is_drill=log["is_drill"],
        has_stop=log["has_stop"],
        depth_mm=reached,
        deepest_before_mm=before,
        engagement_mm=held,
        speed_rpm=log["speed_rpm"],
        intended_depth_mm=log["intended_depth_mm"],
        misread_depth_mm=np.where(log["marked_as_depth"], length - marking + platform, marking),
        found_closed=log["found_closed"],
        found_open=log["found_open"],
    )


def _nothing_found(n_sites: int) -> dict[str, np.ndarray]:
    """Depths NaN and flags false for every site, to be filled where there is a log."""
    depths = {field.name: np.full(n_sites, np.nan) for field in fields(deviations.Achieved)}
    flags = (*deviations.DEVIATIONS, *(field.name for field in fields(deviations.Told)), "log")
    return depths | {name: np.zeros(n_sites, dtype=bool) for name in flags}


def _at_any_site_of(centre: pd.Series, flags: np.ndarray) -> np.ndarray:
    """Whether any site of each site's centre has the flag; shape (n_sites,)."""
    codes = pd.factorize(centre, use_na_sentinel=False)[0]
    return (np.bincount(codes, flags) > 0)[codes]


def _judged(
    derived: pd.DataFrame, rbh_max_mm: depth.Array, found: dict[str, np.ndarray], tolerance_mm: float
) -> pd.DataFrame:
    last_error = found["last_mm"] - derived["planned_last_mm"].to_numpy()
    columns = {
        "achieved_first_mm": found["first_mm"],
        "achieved_last_mm": found["last_mm"],
        "breakthrough_mm": found["breakthrough_mm"],
        "first_error_mm": found["first_mm"] - derived["planned_first_mm"].to_numpy(),
        "last_error_mm": last_error,
        "overdrill_mm": found["last_mm"] - rbh_max_mm,
        "ended": deviations.ended(last_error, found["finding"], found["open_floor"], tolerance_mm),
    }
    for name in deviations.DEVIATIONS:
        known = found["log"] & found[deviations.JUDGED_FROM.get(name, "log")]
        columns[name] = pd.arrays.BooleanArray(found[name], ~known)
    return derived.assign(**columns)[list(SITE_COLUMNS)]


def _without_log(derived: pd.DataFrame) -> pd.DataFrame:
    kinds = dict.fromkeys(deviations.DEVIATIONS, "boolean") | {"ended": object}
    missing = {name: kinds.get(name, float) for name in SITE_COLUMNS if name not in derived}
    empty = {float: np.nan, object: None, "boolean": pd.NA}
    columns = {name: pd.Series(empty[kind], derived.index, dtype=kind) for name, kind in missing.items()}
    return derived.assign(**columns)[list(SITE_COLUMNS)]
