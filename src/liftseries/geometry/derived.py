"""Whole tables at once: sites, log, instruments and stops in; derived steps and sites out.

The columns are those of derived/steps.csv and derived/sites.csv in the contract.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.geometry import depth, deviations, floor, ladder

STEP_COLUMNS = ("stop_length_mm", "depth_mm", "deepest_before_mm", "advance_mm", "engagement_mm")
SITE_COLUMNS = (
    "site_id", "rbh_mid_mm", "floor_slope_deg", "protrusion_mm", "dome_ml", "planned_first_mm", "planned_last_mm",
    "planned_rungs", "plan_problem", "achieved_first_mm", "achieved_last_mm", "breakthrough_mm", "first_error_mm",
    "last_error_mm", "overdrill_mm", *deviations.DEVIATIONS,
)  # fmt: skip


@dataclass(frozen=True)
class Limits:
    """The numbers that depths are judged by; the plan's keys of the same names."""

    first_depth_margin_mm: Mapping[str, float]  # by approach
    step_mm: float
    depth_tolerance_mm: float
    speed_limit_rpm: float
    lift_base_radius_mm: float


def derive(
    sites: pd.DataFrame,
    steps: pd.DataFrame | None,
    instruments: pd.DataFrame,
    stops: pd.DataFrame,
    limits: Limits,
) -> tuple[pd.DataFrame | None, pd.DataFrame]:
    """Depths of every pass, and plan, achievement and deviations of every site.

    Parameters
    ----------
    sites, steps, instruments, stops
        Checked tables; `steps` None where the study has no drilling log.
    limits

    Returns
    -------
    steps with the columns of `STEP_COLUMNS` appended (None without a log), and the table of `SITE_COLUMNS`,
    both in the order of the rows given
    """
    derived = _floor(sites, limits).assign(**_planned(sites, instruments, stops, limits))
    if steps is None:
        return None, _without_log(derived)
    order, log = _log(sites, steps, instruments, stops)
    passes = _passes(log)
    back = np.argsort(order)
    measured = {
        "stop_length_mm": log["stop_length_mm"],
        "depth_mm": passes.depth_mm,
        "deepest_before_mm": passes.deepest_before_mm,
        "advance_mm": passes.advance_mm,
        "engagement_mm": passes.engagement_mm,
    }
    derived_steps = steps.assign(**{name: values[back] for name, values in measured.items()})
    return derived_steps, _judged(derived, sites, log["site"], passes, limits)


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
    return column.to_numpy(dtype=float, na_value=np.nan)


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
        plans = ladder.plan_ladders(
            travel, lowest[rows], highest[rows], platform[rows], margin, limits.step_mm
        )
        first[rows], last[rows] = plans.first_mm, plans.last_mm
        rungs[rows], problem[rows] = plans.n_rungs, plans.problem
    return {
        "planned_first_mm": first,
        "planned_last_mm": last,
        "planned_rungs": pd.arrays.IntegerArray(rungs, rungs == 0),
        "plan_problem": problem,
    }


def _log(sites: pd.DataFrame, steps: pd.DataFrame, instruments: pd.DataFrame, stops: pd.DataFrame) -> tuple:
    """The log with what it needs of the other tables, site by site in the order of the passes."""
    site = pd.Index(sites["site_id"]).get_indexer(steps["site_id"])
    order = np.lexsort((steps["step_no"].to_numpy(dtype=np.int64), site))
    site = site[order]
    instrument = pd.Index(instruments["instrument_id"]).get_indexer(steps["instrument_id"])[order]
    stop = pd.Index(stops["stop_id"]).get_indexer(steps["stop_id"])[order]
    stop_length = np.append(depth.stop_length_mm(_floats(stops["marking_mm"]), _marked_on(stops)), 0.0)
    marking = np.append(_floats(stops["marking_mm"]), np.nan)
    by_depth = np.append((stops["marking_means"] == "depth").to_numpy(dtype=bool), False)
    guided = (sites["approach"] == "guided").to_numpy(dtype=bool)[site]
    return order, {
        "site": site,
        "guided": guided,
        "platform_mm": _platform(sites)[site],
        "guide_offset_mm": _floats(sites["guide_offset_mm"])[site],
        "soft_tissue_mm": _floats(sites["soft_tissue_mm"])[site],
        "is_drill": (instruments["role"] != "gauge").to_numpy(dtype=bool)[instrument],
        "length_mm": _floats(instruments["length_mm"])[instrument],
        "guide_shank_mm": _floats(instruments["guide_shank_mm"])[instrument],
        # -1, no stop, picks the last entry: it takes nothing off and has no marking.
        "stop_length_mm": stop_length[stop],
        "marking_mm": marking[stop],
        "marked_as_depth": by_depth[stop],
        "speed_rpm": _floats(steps["speed_rpm"])[order],
        "intended_depth_mm": _floats(steps["intended_depth_mm"])[order],
        "found_open": (steps["finding"] == "open").to_numpy(dtype=bool)[order],
    }


def _passes(log: dict) -> deviations.Passes:
    length, marking, platform = log["length_mm"], log["marking_mm"], log["platform_mm"]
    starts = np.flatnonzero(np.diff(log["site"], prepend=-1))
    reached = depth.drill_depth_mm(length, log["stop_length_mm"], platform)
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
        depth_mm=reached,
        deepest_before_mm=before,
        engagement_mm=held,
        speed_rpm=log["speed_rpm"],
        intended_depth_mm=log["intended_depth_mm"],
        misread_depth_mm=np.where(log["marked_as_depth"], length - marking + platform, marking),
        found_open=log["found_open"],
    )


def _judged(
    derived: pd.DataFrame, sites: pd.DataFrame, site: np.ndarray, passes: deviations.Passes, limits: Limits
) -> pd.DataFrame:
    logged = site[passes.starts]
    lowest, highest = _floats(sites["rbh_min_mm"]), _floats(sites["rbh_max_mm"])
    reached = deviations.achieved(passes)
    flags = deviations.judge(
        passes,
        reached,
        rbh_max_mm=highest[logged],
        first_limit_mm=(lowest - _margin(sites, limits))[logged],
        planned_first_mm=derived["planned_first_mm"].to_numpy()[logged],
        step_mm=limits.step_mm,
        tolerance_mm=limits.depth_tolerance_mm,
        speed_limit_rpm=limits.speed_limit_rpm,
    )
    n_sites = len(sites)

    def spread(values: np.ndarray) -> np.ndarray:
        everywhere = np.full(n_sites, np.nan)
        everywhere[logged] = values
        return everywhere

    first, last = spread(reached.first_mm), spread(reached.last_mm)
    columns = {
        "achieved_first_mm": first,
        "achieved_last_mm": last,
        "breakthrough_mm": spread(reached.breakthrough_mm),
        "first_error_mm": first - derived["planned_first_mm"].to_numpy(),
        "last_error_mm": last - derived["planned_last_mm"].to_numpy(),
        "overdrill_mm": last - highest,
    }
    gauged = deviations.has_gauge(passes)
    for name in deviations.DEVIATIONS:
        known = np.zeros(n_sites, dtype=bool)
        known[logged] = gauged if name == "probe_mismatch" else True
        shown = np.zeros(n_sites, dtype=bool)
        shown[logged] = getattr(flags, name)
        columns[name] = pd.arrays.BooleanArray(shown, ~known)
    return derived.assign(**columns)[list(SITE_COLUMNS)]


def _without_log(derived: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in SITE_COLUMNS if name not in derived]
    empty = {name: pd.NA if name in deviations.DEVIATIONS else np.nan for name in missing}
    kinds = {name: "boolean" if name in deviations.DEVIATIONS else float for name in missing}
    return derived.assign(**empty).astype(kinds)[list(SITE_COLUMNS)]
