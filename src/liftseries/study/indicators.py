"""What an audit measures and which cases it lists: schemas/indicators.yaml and case_review.yaml, checked.

Definitions are data, so that a committee changes a standard or adds an indicator without code. A wrong one is refused
with its place and the nearest known names.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from liftseries.base.errors import Problem, StudyError, did_you_mean
from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_yaml
from liftseries.study.expressions import names_in
from liftseries.study.schema import derived_schema, read_schema

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
    value : on the indicator's scale; None where there is none
    source, date
    """

    kind: str = "none"
    value: float | None = None
    source: str = ""
    date: str = ""


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


def indicator_problems(written: Mapping[str, Any], extra_columns: Mapping | None = None) -> Iterator[Problem]:
    """What is wrong with definitions."""
    columns = known_columns(written, extra_columns)
    keys = [name for name in Indicator.__dataclass_fields__ if name != "name"]
    for name, entry in written["indicators"].items():
        where = f"{FILE}, {name}"
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
        for column, applies in (entry.get("cells") or {}).items():
            for text in filter(None, (column, applies)):
                yield from expression_problems(f"{where}, cells", str(text), columns)
        yield from _standard_problems(f"{where}, standard", entry.get("standard") or {})


def _word_problems(where: str, entry: Mapping[str, Any]) -> Iterator[Problem]:
    for key, words in (("counts", KINDS), ("good", ("low", "high"))):
        if entry.get(key) not in words:
            found = str(entry.get(key, ""))
            yield Problem(f"{where}, {key}", f'"{found}" is none of {", ".join(words)}.{did_you_mean(found, words)}')
    months = entry.get("months")
    if months is not None and months != SURVIVAL_MONTHS and not _is_number(months):
        message = f'"{months}" is neither a number of months nor {SURVIVAL_MONTHS}. Correct it.'
        yield Problem(f"{where}, months", message)


def _standard_problems(where: str, standard: Mapping[str, Any]) -> Iterator[Problem]:
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
        if not _is_number(standard.get("value")):
            yield Problem(where, "needs a value, a number. Add it.")
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
