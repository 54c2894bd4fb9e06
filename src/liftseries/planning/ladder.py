"""The planned ladder of one site in words, for `liftseries ladder`."""

from __future__ import annotations

import math

import pandas as pd

from liftseries.geometry.derived import reach
from liftseries.geometry.ladder import LadderPass, climb


def ladder_text(
    instruments: pd.DataFrame,
    stops: pd.DataFrame,
    approach: str,
    rbh_min_mm: float,
    rbh_max_mm: float,
    platform_depth_mm: float,
    margin_mm: float,
    step_mm: float,
    guide_offset_mm: float | None = None,
    soft_tissue_mm: float | None = None,
) -> str:
    """Heading, one line a pass, and what to mind; or why there is no ladder. Lengths in mm."""
    heading = (
        f"Planned ladder, {approach}: residual bone {rbh_min_mm:g} to {rbh_max_mm:g} mm, "
        f"margin {margin_mm:g} mm, steps of {step_mm:g} mm"
    )
    passes, problem = climb(
        reach(instruments, stops, approach),
        reach(instruments, stops, approach, gauges=True),
        rbh_min_mm,
        rbh_max_mm,
        platform_depth_mm if approach == "guided" else 0.0,
        margin_mm,
        step_mm,
        math.nan if guide_offset_mm is None else guide_offset_mm,
        math.nan if soft_tissue_mm is None else soft_tissue_mm,
    )
    if problem:
        return f"{heading}\n  No ladder: {problem}.\n"
    means = stops["marking_means"].astype(str).tolist()
    cells = [("pass", "rung", "instrument", "stop", "depth mm", "stop is marked", "remark")]
    cells += [
        (
            str(number),
            str(step.rung),
            str(instruments["instrument_id"].iloc[step.instrument]),
            "none" if step.stop < 0 else str(stops["stop_id"].iloc[step.stop]),
            f"{step.depth_mm:g}",
            "" if step.stop < 0 else f"{stops['marking_mm'].iloc[step.stop]:g}, a {means[step.stop]}",
            _remark(step),
        )
        for number, step in enumerate(passes, start=1)
    ]
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells]
    if len({means[step.stop] for step in passes if step.stop >= 0}) > 1:
        lines.append(
            "MIND: this ladder takes stops of both markings; a number means a length on some, a depth on others."
        )
    ungauged = {step.rung for step in passes} - {step.rung for step in passes if step.gauge}
    if ungauged:
        lines.append(f"No gauge reaches rung {', '.join(map(str, sorted(ungauged)))}: probe by other means.")
    return "\n  ".join([heading, *lines]) + "\n"


def _remark(step: LadderPass) -> str:
    if step.gauge:
        return "probe: is the floor open?"
    if step.engagement_mm <= 0:
        return f"STARTS UNGUIDED by {-step.engagement_mm:g} mm"
    return "opens the hole for the longer drill" if step.opens else ""
