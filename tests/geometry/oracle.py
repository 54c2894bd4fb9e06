"""The depth arithmetic a second time, slowly: one site, one pass, one comparison at a time.

Written from the contract's sections 2 and 3 alone, before `liftseries.geometry` was read or changed, so that they can
only agree by both being right or both reading the contract the same way. Millimetres are exact decimals, so that no
comparison at a tolerance's edge hangs on a binary fraction. Rows are dicts; a missing cell is None.
"""

from __future__ import annotations

import math
from decimal import Decimal

DEVIATIONS = [
    "first_too_deep", "advance_too_large", "unguided_start", "not_probed", "probe_mismatch", "drilled_after_open",
    "overdrilled", "speed_high", "intended_missed", "stop_misread",
]  # fmt: skip


def exact(number):
    """The decimal that was typed, None where nothing was."""
    return None if number is None else Decimal(str(number))


def stop_length(stop):
    """What the stop takes off the instrument, mm."""
    if stop is None:
        return Decimal(0)
    if stop["marking_means"] == "length":
        return exact(stop["marking_mm"])
    return exact(stop["marked_on_length_mm"]) - exact(stop["marking_mm"])


def platform_counted(approach, site):
    """The platform depth where the guide holds the instrument at the platform; 0 freehand, mm."""
    return exact(site["platform_depth_mm"]) if approach == "guided" else Decimal(0)


def depth(instrument, stop, site):
    """How far below the crest this instrument's tip is set to come, mm."""
    p = platform_counted(instrument["approach"], site)
    return exact(instrument["length_mm"]) - stop_length(stop) + p


def engagement(instrument, deepest_before, site):
    """How much of the shank is in the guide when the tip first meets bone, mm."""
    if instrument["role"] == "gauge" or instrument["approach"] != "guided":
        return None
    in_the_hole = (
        exact(instrument["guide_shank_mm"])
        + deepest_before
        - exact(instrument["length_mm"])
        - exact(site["platform_depth_mm"])
    )
    if site["soft_tissue_mm"] is None:
        return in_the_hole
    return min(in_the_hole, exact(site["guide_offset_mm"]) - exact(site["soft_tissue_mm"]))


def reachable_depths(site, instruments, stops):
    """Every depth above 0 that the site's drills reach with each stop and with none, rising, mm."""
    depths = set()
    for instrument in instruments:
        if instrument["role"] == "gauge" or instrument["approach"] != site["approach"]:
            continue
        depths.add(depth(instrument, None, site))
        for stop in stops:
            marked_on = exact(stop["marked_on_length_mm"])
            if stop["marking_means"] == "length" or marked_on == exact(instrument["length_mm"]):
                depths.add(depth(instrument, stop, site))
    return sorted(d for d in depths if d > 0)


def ladder(site, instruments, stops, plan):
    """The rungs from first to last, mm; none where there is no first rung or no way up."""
    reachable = reachable_depths(site, instruments, stops)
    margin = exact(plan["first_depth_margin_mm"][site["approach"]])
    firsts = [d for d in reachable if d <= exact(site["rbh_min_mm"]) - margin]
    if not firsts:
        return []
    rungs = [max(firsts)]
    while rungs[-1] < exact(site["rbh_max_mm"]):
        within_a_step = [d for d in reachable if d <= rungs[-1] + exact(plan["step_mm"])]
        if max(within_a_step) == rungs[-1]:
            return []
        rungs.append(max(within_a_step))
    return rungs


def minus(a, b):
    """a - b, None where one is missing."""
    return None if a is None or b is None else a - b


def derive_steps(site, passes, instruments, stops):
    """The site's passes in the order drilled, each with its depths and its engagement."""
    instrument_of = {instrument["instrument_id"]: instrument for instrument in instruments}
    stop_of = {stop["stop_id"]: stop for stop in stops}
    deepest = Decimal(0)
    derived = []
    for one_pass in sorted(passes, key=lambda row: row["step_no"]):
        instrument = instrument_of[one_pass["instrument_id"]]
        stop = None if one_pass["stop_id"] is None else stop_of[one_pass["stop_id"]]
        is_drill = instrument["role"] != "gauge"
        is_set = is_drill or stop is not None
        # A gauge without a stop is set to no depth: what was read on it is all that is known.
        reached = depth(instrument, stop, site) if is_set else exact(one_pass["read_depth_mm"])
        derived.append(
            {
                **one_pass,
                "instrument": instrument,
                "stop": stop,
                "is_drill": is_drill,
                "is_set": is_set,
                "stop_length_mm": stop_length(stop),
                "depth_mm": reached,
                "deepest_before_mm": deepest,
                "advance_mm": reached - deepest if is_drill else None,
                "engagement_mm": engagement(instrument, deepest, site),
            }
        )
        if is_drill:
            deepest = max(deepest, reached)
    return derived


def other_reading(one_pass, site):
    """The depth that the stop's other meaning would give, None without a stop, mm."""
    stop, instrument = one_pass["stop"], one_pass["instrument"]
    if stop is None:
        return None
    if stop["marking_means"] == "length":
        return exact(stop["marking_mm"])
    p = platform_counted(instrument["approach"], site)
    return exact(instrument["length_mm"]) - exact(stop["marking_mm"]) + p


def is_probing(one_pass):
    """A gauge pass, or a drill pass whose own finding is closed or open."""
    return not one_pass["is_drill"] or one_pass["finding"] in ("closed", "open")


def deepens(one_pass, plan):
    """Whether a drill pass advances by more than the tolerance."""
    return one_pass["is_drill"] and one_pass["advance_mm"] > exact(plan["depth_tolerance_mm"])


def has_finding(passes):
    """Whether any pass of the log was felt closed or open."""
    return any(one_pass["finding"] in ("closed", "open") for one_pass in passes)


def achieved(passes, plan):
    """First, last and breakthrough depth, None where there is none, mm."""
    drilled = [one_pass["depth_mm"] for one_pass in passes if one_pass["is_drill"]]
    first = drilled[0] if drilled else None
    for i, one_pass in enumerate(passes):
        if is_probing(one_pass) and any(deepens(later, plan) for later in passes[i + 1 :]):
            first = max((p["depth_mm"] for p in passes[: i + 1] if p["is_drill"]), default=None)
            break
    breakthrough = None
    for i, one_pass in enumerate(passes):
        if one_pass["finding"] == "open":
            breakthrough = max((p["depth_mm"] for p in passes[: i + 1] if p["is_drill"]), default=None)
            break
    return first, max(drilled, default=None), breakthrough


def went_on_unprobed(passes, planned, plan):
    """Whether the next deepening pass came unprobed after one at the planned first depth or deeper."""
    tol = exact(plan["depth_tolerance_mm"])
    for i, one_pass in enumerate(passes):
        if not deepens(one_pass, plan) or one_pass["depth_mm"] < planned - tol:
            continue
        for later in passes[i + 1 :]:
            if deepens(later, plan):
                # This pass, whose own finding counts, and those between.
                if not any(is_probing(p) for p in passes[i : passes.index(later)]):
                    return True
                break
    return False


def deviations(site, passes, planned_first, plan, centre_tells_of_probing):
    """The ten answers for one site; None = cannot be judged."""
    if not passes:
        return dict.fromkeys(DEVIATIONS)
    tol = exact(plan["depth_tolerance_mm"])
    step = exact(plan["step_mm"])
    margin = exact(plan["first_depth_margin_mm"][site["approach"]])
    first_limit = exact(site["rbh_min_mm"]) - margin
    planned = first_limit if planned_first is None else planned_first
    achieved_first, achieved_last, _ = achieved(passes, plan)
    answer = dict.fromkeys(DEVIATIONS, False)

    answer["first_too_deep"] = achieved_first is not None and achieved_first > first_limit + tol
    answer["overdrilled"] = achieved_last is not None and achieved_last > exact(site["rbh_max_mm"]) + step + tol

    seen_a_drill = False
    for one_pass in passes:
        if not one_pass["is_drill"]:
            continue
        if seen_a_drill and one_pass["depth_mm"] > planned + tol and one_pass["advance_mm"] > step + tol:
            answer["advance_too_large"] = True
        seen_a_drill = True
        engaged = one_pass["engagement_mm"]
        if deepens(one_pass, plan) and engaged is not None and engaged <= 0:
            answer["unguided_start"] = True
        if one_pass["speed_rpm"] is not None and exact(one_pass["speed_rpm"]) > exact(plan["speed_limit_rpm"]):
            answer["speed_high"] = True
    if all(one_pass["speed_rpm"] is None for one_pass in passes):
        answer["speed_high"] = None

    answer["not_probed"] = went_on_unprobed(passes, planned, plan) if centre_tells_of_probing else None

    set_gauges = [one_pass for one_pass in passes if not one_pass["is_drill"] and one_pass["is_set"]]
    if not set_gauges:
        answer["probe_mismatch"] = None
    for gauge in set_gauges:
        if abs(gauge["depth_mm"] - gauge["deepest_before_mm"]) > tol:
            answer["probe_mismatch"] = True

    opened = False
    for one_pass in passes:
        if opened and deepens(one_pass, plan):
            answer["drilled_after_open"] = True
        if one_pass["finding"] == "open":
            opened = True
    if not has_finding(passes):
        answer["drilled_after_open"] = None

    for one_pass in passes:
        intended = exact(one_pass["intended_depth_mm"])
        if not one_pass["is_set"] or intended is None or abs(intended - one_pass["depth_mm"]) <= tol:
            continue
        answer["intended_missed"] = True
        other = other_reading(one_pass, site)
        if other is not None and abs(intended - other) <= tol:
            answer["stop_misread"] = True
    if all(one_pass["intended_depth_mm"] is None for one_pass in passes):
        answer["intended_missed"] = answer["stop_misread"] = None
    return answer


def ended(passes, last_error, plan):
    """How the drilling ended against the plan; None without a plan or a log, or where nobody can say."""
    tol = exact(plan["depth_tolerance_mm"])
    if last_error is None:
        return None
    if last_error > tol:
        return "deeper"
    if last_error >= -tol:
        return "at_plan"
    if not has_finding(passes):
        return None
    return "opened_before" if any(one_pass["finding"] == "open" for one_pass in passes) else "short"


def tells_of_probing(centre, study):
    """Whether any log of the centre's sites has a probing."""
    for site in study["sites"]:
        log = [row for row in study["steps"] if row["site_id"] == site["site_id"]]
        if site["centre"] == centre and any(
            map(is_probing, derive_steps(site, log, study["instruments"], study["stops"]))
        ):
            return True
    return False


def derive_site(site, study):
    """One row of derived/sites, without the words of `plan_problem` (`rungs` stand for them)."""
    plan = study["plan"]
    passes = [row for row in study["steps"] if row["site_id"] == site["site_id"]]
    steps = derive_steps(site, passes, study["instruments"], study["stops"])
    rungs = ladder(site, study["instruments"], study["stops"], plan)
    planned_first = rungs[0] if rungs else None
    planned_last = rungs[-1] if rungs else None
    achieved_first, achieved_last, breakthrough = achieved(steps, plan)
    last_error = minus(achieved_last, planned_last)
    low, high = exact(site["rbh_min_mm"]), exact(site["rbh_max_mm"])
    mid = (low + high) / 2
    protrusion = exact(site["platform_depth_mm"]) + exact(site["implant_length_mm"]) - mid
    h, a = float(max(protrusion, Decimal(0))), float(plan["lift_base_radius_mm"])
    return {
        "site_id": site["site_id"],
        "rbh_mid_mm": mid,
        "floor_slope_deg": math.degrees(math.atan(float((high - low) / exact(site["implant_diameter_mm"])))),
        "protrusion_mm": protrusion,
        "dome_ml": math.pi * h * (3 * a * a + h * h) / 6 / 1000,
        "planned_first_mm": planned_first,
        "planned_last_mm": planned_last,
        "rungs": rungs,
        "achieved_first_mm": achieved_first,
        "achieved_last_mm": achieved_last,
        "breakthrough_mm": breakthrough,
        "first_error_mm": minus(achieved_first, planned_first),
        "last_error_mm": last_error,
        "overdrill_mm": minus(achieved_last, high),
        "ended": ended(steps, last_error, plan),
        **deviations(site, steps, planned_first, plan, tells_of_probing(site["centre"], study)),
    }
