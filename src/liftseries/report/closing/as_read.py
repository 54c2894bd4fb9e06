"""What the reading of the files adds to the limits: columns never recorded, planned months, meanings of empty cells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from liftseries.report.kit.material import Material
from liftseries.report.languages.say import say
from liftseries.study.forms import EACH, OUTCOMES
from liftseries.study.schema import columns_by_name

MONTHS = "months"


def _sections(material: Material) -> list[Mapping[str, Any]]:
    """What study.yaml says of all files, and of each."""
    return [material.plan.get("reading", {}), *material.plan.get("read_as", {}).values()]


def _entries(material: Material, form: str) -> Iterator[tuple[str, Any]]:
    for section in _sections(material):
        for names in (section.get(form) or {}).values():
            yield from names.items() if isinstance(names, Mapping) else ((name, None) for name in names or ())


def _titled(material: Material, name: str) -> str:
    columns = columns_by_name(material.plan["extra_columns"])
    return columns[name].title.lower() if name in columns else name


def not_collected(material: Material) -> str:
    """Which columns some files say that nobody recorded."""
    names = dict.fromkeys(name for name, _ in _entries(material, "not_collected"))
    return say("closing.not_collected", columns=[_titled(material, name) for name in names]) if names else ""


def planned_months(material: Material) -> str:
    """That visits of some files stand at the month that heads their columns."""
    groups = [
        group
        for section in _sections(material)
        for group in ((section.get("columns") or {}).get("visits") or {}).get(EACH) or ()
    ]
    nominal = any(isinstance(group.get(MONTHS), int | float) for group in groups)
    return say("closing.planned_months") if nominal else ""


def empty_means(material: Material, of_outcomes: bool) -> str:
    """What empty cells were taken for, of outcomes or of other columns."""
    meant = {
        f"{value} for {_titled(material, name)}": None
        for name, value in _entries(material, "empty_means")
        if value is not None and (name in OUTCOMES) == of_outcomes
    }
    sentence = "closing.empty_outcome" if of_outcomes else "closing.empty_means"
    return say(sentence, columns=list(meant)) if meant else ""
