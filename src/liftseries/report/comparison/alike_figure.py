"""How alike the groups are, drawn: overlap of the propensity scores beside balance before and after weighting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

from liftseries.report.comparison.compared import ALL, CRUDE, MOST_DRAWN
from liftseries.report.comparison.tables import term_named
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LOOKS,
    RULE,
    SINGLE_MM,
    TEXT_PT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

BODY_MM, TERM_MM, BELOW_MM, ABOVE_MM, EDGE_MM = 26.0, 4.4, 11.0, 9.0, 2.0
LEFT_MM, LABEL_MM, LINE_MM, TALLEST_MM = 13.0, 44.0, 3.6, 225.0
BOLD = {"size": TEXT_PT, "weight": "bold"}
BALANCED = 0.1


@dataclass(frozen=True)
class Pair:
    """A group beside the reference.

    Attributes
    ----------
    name, reference : as they are called
    shares : `group, low, high, n_sites` of the fitted share of this group
    level, of_reference : as `shares` calls them
    balance : term -> method -> standardised difference
    """

    name: str
    reference: str
    shares: pd.DataFrame
    level: str
    of_reference: str
    balance: Mapping[str, Mapping[str, float]]


@drawn
def draw_alike(
    propensity: pd.DataFrame,
    balance: pd.DataFrame,
    comparison: Mapping[str, Any],
    words: Words | None = None,
    narrow: bool = False,
) -> Drawing | None:
    """A row a group: sites by fitted share, the group's upwards and the reference's downwards; the terms' balance.

    None where no propensity could be fitted. More groups than three, or than fit a page: the first ones.

    Parameters
    ----------
    propensity : `subset, of_group, group, low, high, n_sites`
    balance : rows of `comparison.balance`
    comparison : plan.comparison
    words : names of the study's own columns
    narrow : the panels one below the other
    """
    pairs = _pairs(propensity, balance, comparison, words or Words())
    if not pairs:
        return None
    width, panels = (SINGLE_MM, 2) if narrow else (DOUBLE_MM, 1)
    label = max(map(_label_mm, pairs))
    wide = width - LEFT_MM - 4 if narrow else (width - LEFT_MM - label - 8) / 2
    lines = max(wrapped(_title(pair), wide - 4, TEXT_PT).count("\n") for pair in pairs)
    body = max(BODY_MM, TERM_MM * max(len(pair.balance) for pair in pairs))
    tall = body + BELOW_MM + ABOVE_MM + LINE_MM * lines
    pairs = pairs[: max(1, min(MOST_DRAWN, int(TALLEST_MM // (tall * panels))))]
    tops = len(pairs) * panels
    figure = new_figure(width, tall * tops)
    for k, pair in enumerate(pairs):
        row = (tops - 1 - panels * k) * tall + BELOW_MM
        _overlap(figure, (LEFT_MM, row, wide, body), pair)
        left = label if narrow else LEFT_MM + wide + label + 4
        bottom = row - tall if narrow else row
        _balance(figure, (left, bottom, width - left - 4, body), pair, words or Words())
    covers = say("comparison.covers_alike", sites=int(_of_all(pairs[0], propensity)))
    return Drawing(figure, " ".join(map(_told, pairs)), covers)


def _pairs(propensity: pd.DataFrame, balance: pd.DataFrame, asked: Mapping[str, Any], words: Words) -> list[Pair]:
    if propensity.empty or balance.empty:
        return []
    propensity = propensity[propensity["subset"].eq(ALL)].astype({"of_group": str, "group": str})
    reference, weights = str(asked["reference"]), asked["weights"][0]
    found = []
    for level in dict.fromkeys(propensity["of_group"]):
        rows = balance[balance["subset"].eq(f"group={level}") & balance["method"].isin([CRUDE, weights])]
        rows = rows[rows["estimate"].notna()]
        if level == reference or rows.empty:
            continue
        sizes: dict[str, dict[str, float]] = {}
        for _, row in rows.iterrows():
            sizes.setdefault(str(row["term"]), {})["before" if row["method"] == CRUDE else "after"] = row["estimate"]
        name, of_reference = (
            words.subset(f"{asked['groups']}={one}").replace(": ", " ", 1) for one in (level, reference)
        )
        shares = propensity[propensity["of_group"].eq(level) & propensity["group"].isin([level, reference])]
        found.append(Pair(name, of_reference, shares, level, reference, sizes))
    return found


def _of_all(pair: Pair, propensity: pd.DataFrame) -> float:
    of_all = propensity[propensity["subset"].eq(ALL) & propensity["of_group"].astype(str).eq(pair.level)]
    return of_all["n_sites"].sum()


def _label_mm(pair: Pair) -> float:
    texts = [wrapped(term_named(Words(), term), LABEL_MM - 4) for term in pair.balance]
    return min(max(map(text_width_mm, texts), default=20.0), LABEL_MM) + 4


def _title(pair: Pair) -> str:
    return say("comparison.title_overlap", group=pair.name, reference=pair.reference)


def _overlap(figure, place: tuple[float, float, float, float], pair: Pair) -> None:
    axes = axes_at(figure, *place)
    for level, up, look in ((pair.level, 1, LOOKS[0]), (pair.of_reference, -1, LOOKS[2])):
        rows = pair.shares[pair.shares["group"].eq(level)]
        axes.bar(
            rows["low"],
            up * rows["n_sites"],
            width=rows["high"] - rows["low"],
            align="edge",
            facecolor=look.colour,
            edgecolor="white",
            linewidth=0.4,
            hatch=look.hatch,
        )
    most = max(pair.shares["n_sites"].max(), 1)
    axes.axhline(0, color=INK, linewidth=0.6)
    axes.set_xlim(0, 1)
    axes.set_ylim(-1.3 * most, 1.3 * most)
    axes.xaxis.set_major_locator(FixedLocator([0, 0.25, 0.5, 0.75, 1]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{abs(value):g}"))
    axes.set_ylabel(say("comparison.axis_sites"))
    axes.set_xlabel(say("comparison.axis_share", group=pair.name))
    axes.set_title(wrapped(_title(pair), place[2] - 4, TEXT_PT), loc="left", **BOLD)
    axes.text(0.99, 1.2 * most, pair.name, ha="right", va="center")
    axes.text(0.99, -1.2 * most, pair.reference, ha="right", va="center")


def _balance(figure, place: tuple[float, float, float, float], pair: Pair, words: Words) -> None:
    axes = axes_at(figure, *place)
    terms = list(pair.balance)
    most = max([abs(v) for of in pair.balance.values() for v in of.values()] + [2 * BALANCED])
    for y, term in enumerate(terms):
        axes.axhline(y, color=RULE, linewidth=0.4, zorder=0)
        for when, face in (("before", "white"), ("after", DARK)):
            if when in pair.balance[term]:
                x = pair.balance[term][when]
                axes.plot(x, y, marker="o", color=DARK, markerfacecolor=face, clip_on=False, linestyle="")
    for x in (-BALANCED, BALANCED):
        axes.axvline(x, color=INK, linewidth=0.6, linestyle=(0, (3, 2)))
    axes.axvline(0, color=INK, linewidth=0.7)
    axes.set_xlim(-1.1 * most, 1.1 * most)
    axes.set_ylim(len(terms) - 0.5, -0.5)
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_locator(FixedLocator(range(len(terms))))
    axes.set_yticklabels([wrapped(term_named(words, term), LABEL_MM - 4) for term in terms])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(say("comparison.axis_balance"))
    axes.set_title(say("comparison.title_balance"), loc="left", **BOLD)


def _told(pair: Pair) -> str:
    sizes = [[abs(of[when]) for of in pair.balance.values() if when in of] for when in ("before", "after")]
    low, high = (_middle(pair, level) for level in (pair.of_reference, pair.level))
    holes = {"group": pair.name, "reference": pair.reference, "of_reference": low, "of_group": high}
    if all(sizes):
        return say("comparison.alt_alike", before=f"{max(sizes[0]):.2f}", after=f"{max(sizes[1]):.2f}", **holes)
    return say("comparison.alt_overlap", **holes)


def _middle(pair: Pair, level: str) -> str:
    """Between which shares, in percent, the sites of a group lie."""
    rows = pair.shares[pair.shares["group"].eq(level) & pair.shares["n_sites"].gt(0)]
    return f"{100 * rows['low'].min():g} to {100 * rows['high'].max():g}%" if len(rows) else "nowhere"
