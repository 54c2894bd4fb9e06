"""How a column, a term, a subset or a deviation is called for a reader.

The names of columns and deviations come from `schemas/`; those of scales and parameters stand here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from liftseries.base.remarks import BETWEEN, Remark, remark, remarks_in
from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.method import named_method, reference_in
from liftseries.study.schema import Column, columns_by_name, derived_schema

_DERIVED = {name: column for table in derived_schema().values() for name, column in table.columns.items()}
BANDS = {name: column.short_title or column.title for name, column in _DERIVED.items() if column.cuts}
DEVIATIONS = {name: column.title for name, column in _DERIVED.items() if column.is_deviation}
DEFINITIONS = {name: _DERIVED[name].means for name in DEVIATIONS}
JUDGED_FROM = {name: _DERIVED[name].judged_from for name in DEVIATIONS}
IMPOSSIBLE = {(name, column.cannot_occur) for name, column in _DERIVED.items() if column.cannot_occur}
GROUPS_TERMS = {
    "risk": "Share",
    "survival": "In function",
    "rmst": "Months in function",
    "difference": "Difference",
    "ratio": "Ratio",
    "limit": "Limit of the ratio",
}
PARAMETERS = {INTERCEPT: "Intercept", "(log shape)": "Log of the shape"}
POINTERS = {"see", "read_instead", "bound_holds"}  # remarks that name another row
LEVELS = {"level", "reference"}
CANNOT_OCCUR = "cannot occur"
NOT_JUDGED = "cannot be judged"
ENDED = {
    "at_plan": "As planned",
    "opened_before": "Floor open before the planned depth",
    "deeper": "Deeper than planned",
    "short": "Short of plan, floor closed",
}
SCALES = {
    "log_odds": "odds ratio",
    "log_hazard": "hazard ratio",
    "mm": "mm",
    "ncm": "N cm",
    "isq": "ISQ",
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
        return columns_by_name(self.extra_columns)

    def column(self, name: str) -> str:
        """`Residual bone height`, `Approach`; a name that nobody told of is itself, without underscores."""
        known = self.columns.get(name)
        title = known.title if known and not known.own else name
        return title if known and not known.own else title.replace("_", " ").capitalize()

    def unit(self, name: str) -> str:
        """`mm`, or nothing."""
        return getattr(self.columns.get(name), "unit", "")

    def reference(self, name: str) -> str:
        """The level that the others are compared with, or nothing where only the data know it."""
        return getattr(self.columns.get(name), "reference_level", "")

    def term(self, term: str, note: str = "") -> str:
        """`Residual bone height, per mm`; `Approach: guided against freehand`.

        A comparison's terms, `difference[B] at 36`, name a group and a month.
        `note` of results.csv names the reference level where the usual one did not occur.
        """
        if term in PARAMETERS:
            return PARAMETERS[term]
        name, _, rest = term.partition("[")
        if not rest:
            unit = self.unit(name)
            return f"{self.column(name)}, per {unit}" if unit else self.column(name)
        if name in GROUPS_TERMS and name not in self.columns:
            level, _, month = rest.partition("]")
            at = f" at {month.removeprefix(' at ')} months" if month else ""
            return f"{GROUPS_TERMS[name]}: {level.replace('_', ' ')}{at}"
        level = rest.removesuffix("]")
        against = reference_in(note, name) or self.reference(name)
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
        for one in remarks_in(reason):
            if one.name == "label_unknown" and one.holes["column"] in self.columns:
                return remark("label_unknown", column=self.column(one.holes["column"]))
            if one.name == "number_missing" and one.holes["column"] in self.columns:
                return remark("number_missing", column=self.column(one.holes["column"]))
        return reason

    def problem(self, problem: str) -> str:
        """A problem without codes: columns by their names, and no word on which other row holds instead."""
        told = [self._plain(one) for one in remarks_in(problem) if one.name not in POINTERS]
        return BETWEEN.join(dict.fromkeys(filter(None, told))).replace(" = ", " ")

    def _plain(self, one: Remark) -> str:
        holes = {}
        for hole, value in one.holes.items():
            if isinstance(value, Remark):
                holes[hole] = self._plain(value)
            elif hole in ("column", "term"):
                holes[hole] = self._within(value)
            elif hole == "terms":
                holes[hole] = tuple(self._within(term) for term in value)
            else:
                holes[hole] = value.replace("_", " ") if isinstance(value, str) and hole in LEVELS else value
        return str(Remark(one.name, holes)) if one.name else str(one)

    def _within(self, term: str) -> str:
        """A column or term within a sentence: `approach`, `approach: guided`."""
        name, _, level = term.partition("[")
        title = BANDS.get(name) or self.column(name)
        told = title[0].lower() + title[1:]
        return f"{told}: {level.removesuffix(']').replace('_', ' ')}" if level else told

    def subset(self, subset: str) -> str:
        """`All sites`, `Residual height 4 to <6 mm`, `Protocol B`."""
        if subset == "all":
            return "All sites"
        name, _, level = subset.partition("=")
        if ", group=" in level:
            return ", ".join(map(self.subset, subset.split(", ", 1)))
        if name in BANDS:
            return f"{BANDS[name]} {level} mm"
        return f"{self.column(name)}: {level.replace('_', ' ')}"


def deviation_words(names: str) -> list[str]:
    """The deviations of a cell such as `first_too_deep not_probed`, in words."""
    return [DEVIATIONS.get(name, name.replace("_", " ")) for name in names.split()]


def trace_of(row) -> str:
    """`trace` of a row of results.csv."""
    return trace(row["analysis"], row["subset"], row["term"], named_method(row))


def trace(analysis: str, subset: str, term: str, method: str = "") -> str:
    """Which row of results.csv a number comes from: `survival.km · all · 36`."""
    return " · ".join(part for part in (analysis, subset, str(term), method) if part)


def shortened(name: str, longest: int = 40) -> str:
    """A name as it stands on a page, cut where it is very long."""
    return name if len(name) <= longest else f"{name[: longest - 1]}…"
