"""What an audit measures and which cases it lists: schemas/indicators.yaml and case_review.yaml, checked.

Definitions are data, so that a committee changes a standard or adds an indicator without code. A wrong one is refused
with its place and the nearest known names.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from liftseries.base.errors import Problem, StudyError, did_you_mean
from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_yaml
from liftseries.study.expressions import names_in
from liftseries.study.schema import derived_schema, read_schema

OWN_FILE = "indicators.yaml"  # beside study.yaml
FILE, REVIEW_FILE = "schemas/indicators.yaml", "schemas/case_review.yaml"
KINDS = ("sites", "patients", "implants", "failures", "measurements", "cells", "cases")
STANDARDS = ("published", "committee", "none")
SURVIVAL_MONTHS = "survival_months"
NEEDS = {
    "sites": ("numerator",),
    "patients": ("numerator",),
    "implants": ("months",),
    "failures": ("months",),
    "measurements": ("value",),
    "cells": ("cells",),
    "cases": (),
}
TEXTS = ("title", "means", "counts", "good", "numerator", "denominator", "exclude", "value")
NAME = re.compile(r"[a-z][a-z0-9_]*")
PLAIN = (
    ast.Expression, ast.BoolOp, ast.And, ast.Or, ast.Compare, ast.UnaryOp, ast.Not, ast.USub, ast.BinOp, ast.Add,
    ast.Sub, ast.Mult, ast.Div, ast.Name, ast.Load, ast.Constant, ast.cmpop,
)  # fmt: skip


@dataclass(frozen=True)
class Standard:
    """What an indicator is held to.

    Attributes
    ----------
    kind : published, committee or none
    value : on the indicator's scale, of an indicator at several months also month -> value; None where there is none
    source, date
    """

    kind: str = "none"
    value: float | Mapping[float, float] | None = None
    source: str = ""
    date: str = ""

    def at(self, month: float | None) -> Standard:
        """The standard at a month; none at a month for which none was set."""
        if not isinstance(self.value, Mapping):
            return self
        value = {float(of): float(held) for of, held in self.value.items()}.get(float(month))
        return Standard() if value is None else replace(self, value=value)


@dataclass(frozen=True)
class Indicator:
    """One indicator; see schemas/indicators.yaml for what each key means."""

    name: str
    title: str
    means: str
    counts: str
    good: str
    numerator: str = ""
    denominator: str = ""
    exclude: str = ""
    months: float | str | None = None
    only_due: bool = False
    value: str = ""
    cells: Mapping[str, str] = field(default_factory=dict)
    standard: Standard = field(default_factory=Standard)

    def at(self, survival_months: Iterable[float]) -> list[tuple[str, float | None]]:
        """The terms of results.csv and the month of each: the name alone, or `survival at 12` of several months."""
        if self.months == SURVIVAL_MONTHS:
            return [(f"{self.name} at {month:g}", float(month)) for month in survival_months]
        return [(self.name, None if self.months is None else float(self.months))]


@dataclass(frozen=True)
class Reason:
    """Why a case is listed.

    Attributes
    ----------
    name, title
    where : an expression over a site's columns
    """

    name: str
    title: str
    where: str


@cache
def written_indicators() -> dict[str, Any]:
    """schemas/indicators.yaml as it is written."""
    return load_yaml((folder("schemas") / "indicators.yaml").read_text(encoding="utf-8"))


@cache
def indicators() -> tuple[Indicator, ...]:
    """The shipped indicators.

    Raises
    ------
    StudyError
        A definition is wrong.
    """
    return indicators_of(written_indicators())


def indicators_with(own: Mapping[str, Any]) -> tuple[Indicator, ...]:
    """The shipped indicators as a committee changed them, then its own; `own` as the plan holds it, checked."""
    if not own:
        return indicators()
    return tuple(_indicator(name, entry) for name, entry in with_own(own)["indicators"].items())


def with_own(own: Mapping[str, Any]) -> dict[str, Any]:
    """schemas/indicators.yaml with a committee's own entries, whose keys take the place of the shipped ones."""
    written = written_indicators()
    shipped = written["indicators"]
    changed = {name: {**shipped.get(name, {}), **entry} for name, entry in own.items()}
    return {**written, "indicators": {**shipped, **changed}}


def own_indicator_problems(own: Mapping[str, Any], extra_columns: Mapping | None = None) -> Iterator[Problem]:
    """What is wrong with a committee's own entries."""
    known = list(written_indicators()["indicators"])
    for name, entry in own.items():
        where = f"{OWN_FILE}, {name}"
        if not isinstance(entry, Mapping) or not all(isinstance(key, str) for key in entry):
            yield Problem(where, "holds no keys. Write them below it, such as `standard: {...}`.")
        elif not NAME.fullmatch(str(name)):
            yield Problem(where, "a name is of small letters, digits and _, a letter first. Rename it.")
        elif name not in known and not {"counts", "good"} <= set(entry):
            yield Problem(where, f'"{name}" is no shipped indicator, and no whole one.{did_you_mean(str(name), known)}')
        elif wrong := [key for key in TEXTS if not isinstance(entry.get(key, ""), str)]:
            yield Problem(f"{where}, {wrong[0]}", "is no text. Put it in quotes.")
        else:
            whole = with_own({name: entry})
            yield from indicator_problems(
                {**whole, "indicators": {name: whole["indicators"][name]}}, extra_columns, OWN_FILE
            )


def indicators_of(written: Mapping[str, Any], extra_columns: Mapping | None = None) -> tuple[Indicator, ...]:
    """Indicators as they are written, checked.

    Parameters
    ----------
    written : as schemas/indicators.yaml
    extra_columns : a study's own columns, as in study.yaml

    Raises
    ------
    StudyError
        With all that is wrong.
    """
    if problems := list(indicator_problems(written, extra_columns)):
        raise StudyError(problems)
    return tuple(_indicator(name, entry) for name, entry in written["indicators"].items())


def _indicator(name: str, entry: Mapping[str, Any]) -> Indicator:
    return Indicator(**{"name": name, **entry, "standard": Standard(**(entry.get("standard") or {}))})


def known_columns(written: Mapping[str, Any], extra_columns: Mapping | None = None) -> list[str]:
    """The columns that an expression may read."""
    schema, derived = read_schema(extra_columns), derived_schema()
    tables = (schema["sites"], schema["patients"], derived["sites"], derived["bands"], derived["adherence"])
    return list(dict.fromkeys([*written.get("columns", {}), *(name for table in tables for name in table.columns)]))


def indicator_problems(
    written: Mapping[str, Any], extra_columns: Mapping | None = None, file: str = FILE
) -> Iterator[Problem]:
    """What is wrong with definitions; `file` is where they stand."""
    columns = known_columns(written, extra_columns)
    keys = [name for name in Indicator.__dataclass_fields__ if name != "name"]
    for name, entry in written["indicators"].items():
        where = f"{file}, {name}"
        for key in entry:
            if key not in keys:
                yield Problem(where, f'"{key}" is not a known key.{did_you_mean(str(key), keys)}')
        yield from _word_problems(where, entry)
        needed = ("title", "means", "good", *NEEDS.get(entry.get("counts"), ()))
        for key in needed:
            if not entry.get(key):
                yield Problem(where, f'the key "{key}" is missing. Add it.')
        for key in ("numerator", "denominator", "exclude", "value"):
            if entry.get(key):
                yield from expression_problems(f"{where}, {key}", str(entry[key]), columns)
        cells = entry.get("cells") or {}
        if not isinstance(cells, Mapping):
            yield Problem(f"{where}, cells", "holds no keys. Write `column: where it is to be filled` below it.")
            continue
        for column, applies in cells.items():
            for text in filter(None, (column, applies)):
                yield from expression_problems(f"{where}, cells", str(text), columns)
        standard = entry.get("standard") or {}
        if isinstance(standard, Mapping):
            several = entry.get("months") == SURVIVAL_MONTHS
            yield from _standard_problems(f"{where}, standard", standard, several)
        else:
            yield Problem(
                f"{where}, standard", "holds no keys. Write `{kind: committee, value: ..., source: ..., date: ...}`."
            )


def _word_problems(where: str, entry: Mapping[str, Any]) -> Iterator[Problem]:
    for key, words in (("counts", KINDS), ("good", ("low", "high"))):
        if entry.get(key) not in words:
            found = str(entry.get(key, ""))
            yield Problem(f"{where}, {key}", f'"{found}" is none of {", ".join(words)}.{did_you_mean(found, words)}')
    months = entry.get("months")
    if months is not None and months != SURVIVAL_MONTHS and not _is_number(months):
        message = f'"{months}" is neither a number of months nor {SURVIVAL_MONTHS}. Correct it.'
        yield Problem(f"{where}, months", message)


def _standard_problems(where: str, standard: Mapping[str, Any], several: bool) -> Iterator[Problem]:
    """`several` is whether the indicator is told at several months."""
    kind, keys = standard.get("kind", "none"), list(Standard.__dataclass_fields__)
    for key in standard:
        if key not in keys:
            yield Problem(where, f'"{key}" is not a known key.{did_you_mean(str(key), keys)}')
    if kind not in STANDARDS:
        message = f'"{kind}" is none of {", ".join(STANDARDS)}.{did_you_mean(str(kind), STANDARDS)}'
        yield Problem(f"{where}, kind", message)
    elif kind == "none" and standard.get("value") is not None:
        yield Problem(where, "has a value and no kind. Say whether it is published or the committee's.")
    elif kind != "none":
        value = standard.get("value")
        if isinstance(value, Mapping) and not several:
            yield Problem(where, "has a value a month, and the indicator has one month or none. Write one number.")
        elif not value or not all(
            map(_is_number, (*value, *value.values()) if isinstance(value, Mapping) else [value])
        ):
            yield Problem(where, "needs a value, a number, or of several months `{12: 0.95, 60: 0.9}`. Add it.")
        for key in ("source", "date"):
            if not standard.get(key):
                yield Problem(where, f"needs its {key}. Add it.")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def expression_problems(where: str, expression: str, columns: Iterable[str]) -> Iterator[Problem]:
    """What is wrong with an expression: no comparison of columns, or a column that is not there."""
    columns = list(columns)
    try:
        plain = all(isinstance(node, PLAIN) for node in ast.walk(ast.parse(expression, mode="eval")))
    except SyntaxError:
        plain = False
    if not plain:
        yield Problem(where, "is no comparison of columns, such as `perforation == 'yes'`. Correct it.")
        return
    for name in names_in(expression):
        if name not in columns:
            yield Problem(where, f'"{name}" is no column that can stand here.{did_you_mean(name, columns)}')


@cache
def review_reasons() -> tuple[Reason, ...]:
    """Why a case is listed for review, the most serious first.

    Raises
    ------
    StudyError
        A reason reads a column that is not there.
    """
    written = load_yaml((folder("schemas") / "case_review.yaml").read_text(encoding="utf-8"))["reasons"]
    columns = known_columns(written_indicators())
    problems = [
        problem
        for name, entry in written.items()
        for problem in expression_problems(f"{REVIEW_FILE}, {name}", entry["where"], columns)
    ]
    if problems:
        raise StudyError(problems)
    return tuple(Reason(name=name, **entry) for name, entry in written.items())
