"""The cells of a single-case record in words."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pandas as pd

from liftseries.geometry.ladder import LadderPass
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.kit.words import DEVIATIONS, Words, shortened
from liftseries.report.languages.say import say

NOT_RECORDED = "not recorded"
WHO = ("operator", "operator_case_no", "centre", "surgery_year", "tooth", "approach", "protocol")
BONE = ("rbh_min_mm", "rbh_max_mm", "floor_slope_deg", "septum", "soft_tissue_mm")
IMPLANT = ("implant_diameter_mm", "implant_length_mm", "platform_depth_mm", "guide_offset_mm")
TEAR = ("perforation", "perforation_test", "perforation_stage", "perforation_mm", "perforation_management")
REST = ("placement", "healing", "torque_ncm", "isq")
VOLUMES = (("Fluid pressed in", "fluid_ml"), ("Graft placed", "graft_ml"))
ALWAYS = {*WHO, "rbh_min_mm", "rbh_max_mm", "perforation", "perforation_test"}  # told also where not recorded


def facts(case: pd.Series, words: Words) -> list[list[str]]:
    """Who, where, and how the bone and the planned implant are: name and value."""
    return _told(case, (*WHO, *BONE, *IMPLANT), words)


def surgery(case: pd.Series, words: Words) -> list[list[str]]:
    """The membrane and the implant at surgery."""
    return _told(case, (*TEAR, *REST), words)


def lift(case: pd.Series) -> list[list[str]]:
    """The planned lift, and the volumes against those of the cap that it makes."""
    cap = case.get("dome_ml")
    lines = [["Lift method", _word(case.get("lift_method"))], ["Graft", _word(case.get("graft"))]]
    lines.append(["Planned lift, mm", decimal(case.get("protrusion_mm"), 1) or NOT_RECORDED])
    lines.append(
        ["Spherical-cap volume", NOT_RECORDED if missing(cap) else say("audit_extra.volume", volume=float(cap))]
    )
    lines += [[title, _volume(case.get(name), cap)] for title, name in VOLUMES]
    lines.append(["Bone height after, mm", decimal(case.get("bone_height_post_mm"), 1) or NOT_RECORDED])
    return lines


def findings(case: pd.Series) -> list[str]:
    """Deviations that were found, and those that cannot be judged."""
    found = [title for name, title in DEVIATIONS.items() if not missing(case.get(name)) and bool(case[name])]
    unknown = [title for name, title in DEVIATIONS.items() if missing(case.get(name))]
    lines = [say("audit_extra.deviations", names=_small(found))] if found else []
    if not found and len(unknown) < len(DEVIATIONS):
        lines.append(say("audit_extra.no_deviation"))
    return lines + ([say("audit_extra.not_judged", names=_small(unknown))] if unknown else [])


def planned_rows(passes: Iterable[LadderPass], instruments: pd.DataFrame, stops: pd.DataFrame) -> list[list[str]]:
    """The drill passes of the planned ladder; a gauge follows each rung where one reaches it."""
    return [
        [
            str(step.rung),
            _name(instruments["instrument_id"].iloc[step.instrument]),
            "none" if step.stop < 0 else _name(stops["stop_id"].iloc[step.stop]),
            decimal(step.depth_mm, 1),
            decimal(step.engagement_mm, 1),
        ]
        for step in passes
        if not step.gauge
    ]


def drilled_rows(steps: pd.DataFrame) -> list[list[str]]:
    """The passes of the log."""
    return [
        [
            str(int(step["step_no"])),
            _name(step["instrument_id"]),
            "none" if missing(step["stop_id"]) else _name(step["stop_id"]),
            decimal(step["depth_mm"], 1),
            decimal(step["advance_mm"], 1),
            decimal(step["engagement_mm"], 1),
            _word(step["finding"], ""),
        ]
        for _, step in steps.iterrows()
    ]


def visit_rows(visits: pd.DataFrame) -> list[list[str]]:
    """The visits."""
    return [
        [
            decimal(visit["months"], 1),
            _word(visit["status"], ""),
            decimal(visit["bone_height_mm"], 1),
            decimal(visit["marginal_bone_mm"], 1),
            _word(visit["complication"], ""),
        ]
        for _, visit in visits.iterrows()
    ]


def _told(case: pd.Series, names: Iterable[str], words: Words) -> list[list[str]]:
    lines = []
    for name in names:
        value = case.get(name)
        if missing(value) and name not in ALWAYS:
            continue
        unit = words.unit(name)
        lines.append([words.column(name) + (f", {unit}" if unit else ""), _value(name, value)])
    return lines


def _value(name: str, value) -> str:
    if missing(value):
        return NOT_RECORDED
    if (isinstance(value, float) and not value.is_integer()) or name.endswith("_mm"):
        return decimal(float(value), 1)
    return str(int(value)) if isinstance(value, float) else _word(value)


def _volume(volume, cap) -> str:
    if missing(volume):
        return NOT_RECORDED
    if missing(cap) or not float(cap) > 0 or not float(volume) > 0:
        return say("audit_extra.volume", volume=float(volume))
    return say("audit_extra.volume_of_cap", volume=float(volume), times=float(volume) / float(cap))


def _word(value, none: str = NOT_RECORDED) -> str:
    return none if missing(value) else shortened(str(value).replace("_", " "))


def _name(value) -> str:
    """A name that a narrow column may break."""
    return re.sub(r"([_.-])", "\\1\u200b", shortened(str(value), 24))


def _small(titles: list[str]) -> list[str]:
    return [title[:1].lower() + title[1:] for title in titles]
