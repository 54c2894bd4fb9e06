"""What happened to the membrane, drawn: shares by group, odds ratios by method."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import Drawing, drawn
from liftseries.report.kit.figures.terms import draw_by_method
from liftseries.report.kit.numbers import WITHHELD, missing, percent, short_count
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.report.perforation.other_methods import is_weak, method_name
from liftseries.report.perforation.sentences import HEIGHT, LIFT, SHARES_BY, covered, may_be_compared, share_words

NOT_OF_AN_ERROR = {"one_sided_bound", "one_patient_has_the_outcome"}
BAND_OF = {"rbh_band": HEIGHT, "lift_band": LIFT}
DRAWN_BY = tuple(name for name in SHARES_BY if BAND_OF.get(name) != LIFT)  # lift stands in the supplement
MOST_LEVELS = 30  # of a column that is drawn: hundreds of centres are no figure


@drawn
def draw_perforation_shares(rates: pd.DataFrame, words: Words | None = None, narrow: bool = False) -> Drawing | None:
    """Share of sites perforated: all, by residual height, approach, protocol and centre; None of too few perforations.

    Parameters
    ----------
    rates : rows of `perforation.rate`
        Those of `patients` are drawn; where at most one patient has the outcome, with an open marker. A column of
        more than `MOST_LEVELS` levels is named below.
    words : names of the study's own columns
    """
    words = words or Words()
    rates = rates[rates["method"].eq("patients")] if len(rates) else rates
    whole = next((row for _, row in rates.iterrows() if row["subset"] == "all"), None)
    if not may_be_compared(whole):
        return None
    lines, told, too_many = [_line("All sites", whole)], [_told("all sites", whole)], []
    for name in DRAWN_BY:
        rows = [row for _, row in rates[rates["subset"].str.startswith(f"{name}=")].iterrows()]
        if len(rows) > MOST_LEVELS:
            too_many.append(say("perforation.levels", name=words.column(name).lower(), levels=len(rows)))
            continue
        for row in rows if len(rows) > 1 else ():  # one level alone is all sites once more
            lines.append(_line(words.subset(row["subset"]), row))
            told.append(_told(words.subset(row["subset"]), row))
    share = None if missing(whole["estimate"]) else float(whole["estimate"])
    marked = [say("perforation.shares_note")] if any(line.open_marker for line in lines) else []
    not_drawn = [say("perforation.shares_not_drawn", names=too_many)] if too_many else []
    drawing = draw_forest(
        lines,
        ("Perforated/sites", "% (95% interval)"),
        Axis("Sites perforated, %", none=share, percent=True),
        " ".join([say("perforation.alt_shares", told="; ".join(told)), *not_drawn]),
        " ".join([*marked, *not_drawn]),
        narrow,
    )
    return replace(drawing, covers=covered(whole))


def _line(label: str, row) -> Line:
    open_marker = bool(NOT_OF_AN_ERROR & names_in(row["note"]))
    cells = (f"{_of(row)}{' *' if open_marker else ''}", _numbers(row))
    estimate, low, high = (float(row[column]) for column in ("estimate", "conf_low", "conf_high"))
    return Line(label, cells, estimate, low, high, open_marker)


def _numbers(row) -> str:
    if row["problem"] == WITHHELD:
        return estimate(row)  # a bound where there is one
    return share_words(row) or percent(row["estimate"]) or "–"


def _told(name: str, row) -> str:
    return f"{name} {_of(row)}, {_numbers(row)}"


def _of(row) -> str:
    return f"{short_count(row['n_events'])}/{short_count(row['n_sites'])}"


@drawn
def draw_perforation_methods(
    firth: pd.DataFrame,
    gee: pd.DataFrame,
    imputed: pd.DataFrame,
    words: Words | None = None,
    narrow: bool = False,
) -> Drawing | None:
    """Odds ratios of a perforation: of each term the quoted one, filled, and the same by other methods, open.

    What its own note tells not to rely on is left to the table.

    Parameters
    ----------
    firth, gee, imputed : rows of `perforation.firth`, `.gee` and `.imputed`
    words : names of the study's own columns
    """
    rows = pd.concat([table for table in (firth, gee, imputed) if len(table)] or [firth])
    rows = rows[_relied_on(rows)] if len(rows) else rows
    drawing = draw_by_method(
        rows,
        words or Words(),
        method_name,
        Axis("Odds ratio of a perforation", none=1.0, ratio=True, towards=("fewer", "more")),
        "odds ratio of a perforation",
        narrow,
    )
    return replace(drawing, covers=covered(quoted_in(rows).iloc[0])) if drawing else None


def _relied_on(rows: pd.DataFrame) -> Iterable[bool]:
    return [bool(row["headline"]) or not is_weak(row) for _, row in rows.iterrows()]
