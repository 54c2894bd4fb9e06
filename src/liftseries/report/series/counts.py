"""Where and until when: the centres, the end of the data."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing
from liftseries.report.languages.say import say


def centres(material: Material) -> list[str]:
    """The centres by name."""
    subsets = dict.fromkeys(material.table("missing")["subset"])
    return [subset.removeprefix("centre=") for subset in subsets if subset.startswith("centre=")]


def data_end(material: Material) -> str:
    """A sentence on the month in which the data end; empty where nobody knows, or it may not be told."""
    given = str(material.plan["study"].get("data_until") or "")
    if given:
        return say("series.data_end", month=month_named(given))
    table = material.table("followup_closed")
    if table.empty or missing(table["month"].iloc[0]):
        return ""
    return say("series.data_end_implied", month=month_named(str(table["month"].iloc[0])))


def month_named(month: str) -> str:
    """`December 2025` for `2025-12`."""
    year, _, number = month.partition("-")
    return f"{say('series.months').split(', ')[int(number[:2]) - 1]} {year}" if number else year
