"""Who is compared: characteristics with standardised differences, and groups by operator and year at a glance."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from liftseries.report.comparison.compared import Comparison, comparison_of
from liftseries.report.comparison.tables import written_smd
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing, percent
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.report.series.characteristics import Described, in_short
from liftseries.study.schema import UNKNOWN

MOST_SIDE_BY_SIDE = 4  # groups; with their names and a difference each they fill eight columns
MOSTLY = 0.9  # of an operator's sites in one group


def characteristics_table(material: Material, words: Words) -> Content | None:
    """The characteristics by group, each with its standardised difference; of many groups the largest alone."""
    comparison, table = comparison_of(material), material.table("comparison_characteristics")
    if table.empty or comparison.why_nothing:
        return None
    table = table.assign(level=table["level"].fillna("").astype(str))
    found = Described(table, words)
    place = {level: f"{comparison.asked['groups']}={level}" for level in comparison.levels}
    few = len(comparison.levels) <= MOST_SIDE_BY_SIDE
    subsets = list(place.values()) if few else ["all", place[comparison.reference]]
    others = {level: place[level] for level in comparison.others}

    def beside(unit: str, column: str, level: str) -> tuple[str, ...]:
        cells = dict(zip(others, found.across(unit, column, level, list(others.values())), strict=True))
        sizes = {name: c.smd for name, c in cells.items() if c is not None and not missing(c.smd)}
        if few:
            return tuple(_smd(sizes.get(name)) for name in others)
        most = max(sizes, key=lambda name: abs(sizes[name]), default=None)
        return ("", "") if most is None else (_smd(sizes[most]), comparison.named(most))

    if few:
        heads = [comparison.named(level) for level in comparison.levels] + _heads_of(comparison)
    else:
        heads = ["All", comparison.named(comparison.reference)]
        heads += [say("comparison.head_largest"), say("comparison.head_in_group")]
    note = say("comparison.characteristics_note", reference=comparison.named(comparison.reference))
    return content_of(("", *heads), list(in_short(found, subsets, beside)), note)


def _heads_of(comparison: Comparison) -> list[str]:
    if len(comparison.others) == 1:
        return [say("comparison.head_smd")]
    return [say("comparison.head_smd_of", group=comparison.named(level)) for level in comparison.others]


def _smd(value: float | None) -> str:
    return "" if value is None else written_smd({"estimate": value})


def glance_table(material: Material, words: Words) -> Content | None:
    """A line a group: its operators and years, and whether it can be told apart from the reference."""
    comparison = comparison_of(material)
    table = comparison.entangled
    if table.empty or comparison.why_nothing:
        return None
    table = table.assign(group=table["group"].astype(str), operator=table["operator"].astype(str))
    lines = [_glance(comparison, table, level) for level in comparison.levels]
    names = ("sites", "operators", "mostly", "busiest", "years", "apart")
    return content_of(("", *(say(f"comparison.head_{name}") for name in names)), lines, say("comparison.glance_note"))


def _glance(comparison: Comparison, table: pd.DataFrame, level: str) -> Sequence[str]:
    own = table[table["group"].eq(level)]
    known = own[own["operator"].ne(UNKNOWN)]
    mine = known.groupby("operator")["n_sites"].sum()
    whole = table.groupby("operator")["n_sites"].sum()
    mostly = int((mine >= MOSTLY * whole.reindex(mine.index)).sum())
    years = pd.to_numeric(own["surgery_year"], errors="coerce").dropna().astype(int)
    span = "–" if years.empty else f"{years.min()}–{years.max()}" if years.min() < years.max() else f"{years.min()}"
    share = comparison.shares_by("operator", level)
    if level == comparison.reference:
        apart = say("comparison.glance_reference")
    else:
        uneven = "glance_uneven" if comparison.uneven(level) else "glance_apart"
        apart = say(f"comparison.{'glance_tied' if comparison.tied(level) else uneven}")
    return (
        comparison.named(level),
        str(int(own["n_sites"].sum())),
        str(len(mine)) if len(mine) else "–",
        str(mostly) if len(mine) else "–",
        percent(max(share.values())) if share else "–",
        span,
        apart,
    )
