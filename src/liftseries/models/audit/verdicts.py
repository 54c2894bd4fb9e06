"""Whether an indicator is worse or better than its standard, and whether there is enough to say so."""

from __future__ import annotations

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.models.audit.indicator_rows import Told
from liftseries.models.audit.limits import needed_of
from liftseries.study.indicators import Indicator, Standard

FEWEST_PATIENTS, FEWEST_OF_EACH = 10, 5  # without a standard: patients, events and non-events
WORSE, BETTER, COMPATIBLE = "worse", "better", "compatible"
SAID = {
    WORSE: remark("indicator_worse"),
    BETTER: remark("indicator_better"),
    COMPATIBLE: remark("indicator_compatible"),
}
PERFORATION = "perforation"


def enough(indicator: Indicator, standard: Standard, told: Told, correlation: float, area: float) -> bool:
    """Whether an indicator of a unit can be judged.

    At a standard: from the sites on from which a unit at twice the odds of the worse outcome would be flagged; else
    from ten patients with five events and five others.
    """
    if indicator.counts == "cases":
        return np.isfinite(told.row["estimate"])
    if standard.value is None or indicator.counts == "measurements":
        fewest = min(told.n_events, told.n_others)
        return told.n_patients >= FEWEST_PATIENTS and fewest >= FEWEST_OF_EACH
    worse = standard.value if indicator.good == "low" else 1 - standard.value
    n = told.n_events + told.n_others
    if not 0 < worse < 1 or not told.n_patients:
        return False
    size = max(1, round(n / told.n_patients))
    needed = needed_of(worse, correlation, size, area)
    return needed is not None and n >= needed


def verdict(good: str, standard: float, low: float, high: float) -> str:
    """worse, better or compatible: where the whole interval lies."""
    if not np.isfinite([low, high]).all() or low <= standard <= high:
        return COMPATIBLE
    return BETTER if (high < standard) == (good == "low") else WORSE


def judged(indicator: Indicator, standard: Standard, told: Told, correlation: float, area: float) -> tuple[dict, dict]:
    """The row with what it says of the standard, and the row of the strips."""
    row = told.row
    sure = enough(indicator, standard, told, correlation, area) and np.isfinite(row["estimate"])
    said = ""
    limits = row.get("conf_low", np.nan), row.get("conf_high", np.nan)
    if standard.value is not None and sure and np.isfinite(limits).all():
        said = verdict(indicator.good, standard.value, *limits)
    note = SAID[said] if said else "" if sure else remark("indicator_not_judged")
    if np.isfinite(row["estimate"]):
        row = row | {"note": joined(row["note"], note), "headline": bool(sure and not row["problem"])}
    if np.isfinite(limits).all():
        row["conf_level"] = CONF_LEVEL
    strip = {
        "counts": indicator.counts,
        "good": indicator.good,
        **told.states,
        "n_events": row.get("n_events"),
        "value": row["estimate"],
        "conf_low": limits[0],
        "conf_high": limits[1],
        "standard": np.nan if standard.value is None else standard.value,
        "standard_kind": standard.kind,
        "standard_source": standard.source,
        "standard_date": standard.date,
        "verdict": said,
        "enough": bool(sure),
    }
    return row, strip


def standard_of(indicator: Indicator, of_plan: float | None) -> Standard:
    """What an indicator is held to: its own standard, or the plan's for the tear."""
    if indicator.name == PERFORATION and indicator.standard.kind == "none" and of_plan is not None:
        return Standard("committee", float(of_plan), "study.yaml, audit.standard")
    return indicator.standard
