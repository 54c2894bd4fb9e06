"""How a column, a term, a subset or a deviation is called for a reader.

The names of the contract's columns come from `schemas/`; those of derived columns and deviations stand here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from liftseries.models.shared.design import INTERCEPT, REFERENCE_LEVELS
from liftseries.study.schema import Column, read_schema

DERIVED = {
    "rbh_mid_mm": ("Residual bone height", "mm"),
    "rbh_band": ("Residual bone height", "mm"),
    "floor_slope_deg": ("Slope of the sinus floor", "degree"),
    "protrusion_mm": ("Planned lift", "mm"),
    "lift_band": ("Planned lift", "mm"),
    "dome_ml": ("Volume of the lifted space", "ml"),
    "first_error_mm": ("First depth, achieved less planned", "mm"),
    "last_error_mm": ("Last depth, achieved less planned", "mm"),
    "planned_last_mm": ("Planned last depth", "mm"),
    "achieved_last_mm": ("Achieved last depth", "mm"),
    "overdrill_mm": ("Depth drilled beyond the highest floor", "mm"),
    "months": ("Time since placement", "month"),
    "gain_mm": ("Bone gain", "mm"),
}
BANDS = {"rbh_band": "Residual height", "lift_band": "Planned lift"}
DEVIATIONS = {
    "first_too_deep": "First depth too deep",
    "advance_too_large": "A pass advanced too far",
    "unguided_start": "Drill started outside the guide",
    "not_probed": "Floor not probed between passes",
    "probe_mismatch": "Gauge depth differs from hole",
    "drilled_after_open": "Drilled on after the floor was open",
    "overdrilled": "Drilled far beyond the floor",
    "speed_high": "Speed above the limit",
    "intended_missed": "Depth differs from the intended one",
    "stop_misread": "Stop's marking misread",
}
PARAMETERS = {INTERCEPT: "Intercept", "(log shape)": "Log of the shape"}
IMPOSSIBLE = ("unguided_start", "approach=freehand")  # no guide, so no start outside it
CANNOT_OCCUR = "cannot occur"
SCALES = {
    "log_odds": "odds ratio",
    "log_hazard": "hazard ratio",
    "mm": "mm",
    "risk": "share",
    "probability": "probability",
    "log_time": "log time",
    "months": "months",
    "ratio": "ratio",
    "per 100 sites": "per 100 sites",
    "chi_squared": "χ²",
    "E-value": "E-value",
}


@dataclass(frozen=True)
class Words:
    """Names for a study's columns, terms and subsets.

    Parameters
    ----------
    extra_columns : table -> column -> entry, as in study.yaml
        A study's own columns.
    """

    extra_columns: Mapping[str, Mapping[str, Mapping]] = field(default_factory=dict)

    @cached_property
    def columns(self) -> dict[str, Column]:
        """Every column of the contract and of the study, by name."""
        tables = read_schema(self.extra_columns).values()
        return {name: column for table in tables for name, column in table.columns.items()}

    def column(self, name: str) -> str:
        """`Residual bone height`, `Approach`; a name that nobody told of is itself, without underscores."""
        if name in DERIVED:
            return DERIVED[name][0]
        if name in DEVIATIONS:
            return DEVIATIONS[name]
        known = self.columns.get(name)
        title = known.title if known and not known.own else name
        return title if known and not known.own else title.replace("_", " ").capitalize()

    def unit(self, name: str) -> str:
        """`mm`, or nothing."""
        return DERIVED[name][1] if name in DERIVED else getattr(self.columns.get(name), "unit", "")

    def reference(self, name: str) -> str:
        """The level that the others are compared with, or nothing where only the data know it."""
        if name in DEVIATIONS:
            return "no"
        known = self.columns.get(name)
        levels = [str(level) for level in known.levels if str(level) != "unknown"] if known else []
        return REFERENCE_LEVELS.get(name) or (levels[0] if levels else "")

    def term(self, term: str, method: str = "") -> str:
        """`Residual bone height, per mm`; `Approach: guided against freehand`.

        `method` of results.csv names the reference level where the usual one did not occur.
        """
        if term in PARAMETERS:
            return PARAMETERS[term]
        name, _, rest = term.partition("[")
        if not rest:
            unit = self.unit(name)
            return f"{self.column(name)}, per {unit}" if unit else self.column(name)
        level = rest.removesuffix("]")
        against = _named_reference(name, method) or self.reference(name)
        words = {"true": "yes", "false": "no"}.get(level, level)
        told = f" against {against.replace('_', ' ')}" if against else ""
        return f"{self.column(name)}: {words.replace('_', ' ')}{told}"

    def contrast(self, term: str) -> str:
        """`Residual bone height: 8 to 4 mm` for `rbh_mid_mm: 8 to 4`."""
        name, _, between = term.partition(": ")
        unit = self.unit(name)
        return f"{self.column(name)}: {between.replace('_', ' ')}" + (f" {unit}" if unit else "")

    def reason(self, reason: str) -> str:
        """`Slope of the sinus floor missing` for `floor_slope_deg missing`."""
        name, _, rest = reason.partition(" ")
        known = name in DERIVED or name in DEVIATIONS or name in self.columns
        return f"{self.column(name)} {rest}" if known and rest in ("missing", "unknown") else reason

    def subset(self, subset: str) -> str:
        """`All sites`, `Residual height 4 to <6 mm`, `Protocol B`."""
        if subset == "all":
            return "All sites"
        name, _, level = subset.partition("=")
        if name in BANDS:
            return f"{BANDS[name]} {level} mm"
        return f"{self.column(name)}: {level.replace('_', ' ')}"


def _named_reference(name: str, method: str) -> str:
    """The level in a note such as `smoking against former, as no complete case is never`."""
    for note in method.split("; "):
        if note.startswith(f"{name} against "):
            return note.removeprefix(f"{name} against ").split(", as ")[0]
    return ""


def deviation_words(names: str) -> list[str]:
    """The deviations of a cell such as `first_too_deep not_probed`, in words."""
    return [DEVIATIONS.get(name, name.replace("_", " ")) for name in names.split()]


# Analyses whose rows of one term differ by method only.
SEVERAL_METHODS = (
    "perforation.rate",
    "perforation.firth",
    "perforation.validation",
    "survival.firth_cox",
    "survival.ph",
    "sensitivity.lost_implants",
    "measurement.icc",
)
ONE_SIDED = "one_sided"


def named_method(row) -> str:
    """The method where a row's place cannot be told without it: its words up to the first note."""
    method = str(row["method"])
    if row["analysis"] in SEVERAL_METHODS or method.startswith(ONE_SIDED):
        return method.partition(";")[0]
    return ""


def trace_of(row) -> str:
    """`trace` of a row of results.csv."""
    return trace(row["analysis"], row["subset"], row["term"], named_method(row))


def trace(analysis: str, subset: str, term: str, method: str = "") -> str:
    """Which row of results.csv a number comes from: `survival.km · all · 36`."""
    return " · ".join(part for part in (analysis, subset, str(term), method) if part)
