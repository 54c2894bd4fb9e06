"""A unit's indicators as it sees them, and which of them is its strength and which to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from liftseries.report.audit.next_actions import indicator_of, written
from liftseries.report.kit.numbers import missing
from liftseries.report.languages.say import say

FEWEST_OTHERS = 5  # of whom a figure may be shown
Z = 1.96  # half the width of a 95% interval in standard errors
SHARES = ("sites", "patients", "cells")


@dataclass(frozen=True)
class Figure:
    """One indicator of a unit.

    Attributes
    ----------
    title
    own, group, standard : as they are written; empty where there is none, or where it may not be shown
    spread : the lowest and the highest of the others; empty where fewer than `FEWEST_OTHERS` are judged
    other : what it is set against, as it is written within a sentence; None where there is nothing
    lies : how far on the better side of that, in standard errors; 0 where it cannot be judged
    by_chance : whether its interval holds that
    """

    title: str
    own: str
    group: str
    standard: str
    other: str | None
    lies: float
    by_chance: bool
    spread: str = ""

    def words(self) -> dict[str, str]:
        """The holes of the sentence that names it."""
        chance = say("audit_extra.own_chance" if self.by_chance else "audit_extra.own_beyond_chance")
        title = self.title[0].lower() + self.title[1:]
        return {"title": title, "own": self.own, "other": self.other or "", "chance": chance}


def figures_of(strips: pd.DataFrame, unit: str, with_group: bool, audit: Mapping[str, Any]) -> list[Figure]:
    """The indicators of a unit that have a value.

    Parameters
    ----------
    strips : as `fit_audit_indicators` leaves them
    unit
    with_group : whether the figures of all units may be shown
    audit : that section of the plan
    """
    everyone = strips[strips["unit"].eq("all")].set_index("indicator")
    mine = strips[strips["unit"].eq(unit) & strips["value"].notna()]
    others = strips[~strips["unit"].isin(["all", unit]) & strips["enough"].astype(str).str.lower().eq("true")]
    return [
        replace(
            _figure(strip, everyone, with_group, audit),
            spread=_spread(others, strip, indicator_of(str(strip["indicator"]), audit)) if with_group else "",
        )
        for _, strip in mine.iterrows()
    ]


def strength_of(figures: Sequence[Figure]) -> Figure | None:
    """The figure furthest on the better side; None where none is."""
    best = max(figures, key=lambda figure: figure.lies, default=None)
    return best if best and best.lies > 0 else None


def change_of(figures: Sequence[Figure]) -> Figure | None:
    """The figure furthest on the worse side; None where none is."""
    worst = min(figures, key=lambda figure: figure.lies, default=None)
    return worst if worst and worst.lies < 0 else None


def _figure(strip: pd.Series, everyone: pd.DataFrame, with_group: bool, audit: Mapping[str, Any]) -> Figure:
    term, known = str(strip["indicator"]), indicator_of(str(strip["indicator"]), audit)
    month = term.partition(" at ")[2]
    group = everyone["value"].get(term) if with_group else None
    held, standard = strip["standard"], ""
    if not missing(held):
        standard = written(float(held), known)
    against = group if missing(held) else held
    low, high = strip["conf_low"], strip["conf_high"]
    judged = str(strip["enough"]).lower() == "true" and not (missing(against) or missing(low) or missing(high))
    by_standard = f"audit_extra.own_by_{'group' if missing(held) else 'standard'}"
    return Figure(
        title=known.title + (f", month {month}" if month else ""),
        own=_own(strip, known),
        group="" if missing(group) else written(group, known),
        standard=standard,
        other=say(by_standard, value=written(float(against), known)) if judged else None,
        lies=_lies(strip, float(against)) if judged else 0.0,
        by_chance=bool(judged and low <= against <= high),
    )


def _spread(others: pd.DataFrame, strip: pd.Series, known) -> str:
    """Between which values the other units lie that have cases enough."""
    values = others.loc[others["indicator"].eq(strip["indicator"]), "value"].dropna()
    if len(values) < FEWEST_OTHERS:
        return ""
    return say("audit_extra.own_spread", low=written(values.min(), known), high=written(values.max(), known))


def _lies(strip: pd.Series, against: float) -> float:
    error = (strip["conf_high"] - strip["conf_low"]) / (2 * Z)
    better = (strip["value"] - against) * (1 if strip["good"] == "high" else -1)
    return float(better / error) if error > 0 else 0.0


def _own(strip: pd.Series, known) -> str:
    """The value with its interval; of few, the count alone."""
    if str(strip["enough"]).lower() != "true":
        if known.counts in SHARES and not missing(strip["n_events"]):
            return f"{int(strip['n_events'])} of {int(strip['counted'])}"
        return written(strip["value"], known)
    text = written(strip["value"], known)
    if missing(strip["conf_low"]) or missing(strip["conf_high"]):
        return text
    return f"{text} ({written(strip['conf_low'], known)} to {written(strip['conf_high'], known)})"
