"""How long implants stay, drawn: Kaplan-Meier of all and by residual height, and survival by other methods."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LOOKS,
    SINGLE_MM,
    Drawing,
    Look,
    drawn,
    new_figure,
    text_width_mm,
)
from liftseries.report.kit.figures.terms import QUOTED_IS_FILLED
from liftseries.report.kit.numbers import WITHHELD, missing, percent
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.languages.say import say
from liftseries.report.survival.curves import (
    AXIS_MM,
    ROW_MM,
    TITLE_MM,
    draw_band,
    name_curves,
    numbers_below,
    panel,
    starts_at,
)
from liftseries.report.survival.other_methods import LOST, method_name, survival_at
from liftseries.report.survival.sentences import at_months, enough_failures, share_words

BODY_MM, EDGE_MM = 46.0, 2.0
OF_BANDS = (*LOOKS[:2], LOOKS[3], LOOKS[4], LOOKS[2])  # the palest last: a thin pale line is lost in grey
ALL = "all"


@drawn
def draw_survival(
    curves: pd.DataFrame, at_risk: pd.DataFrame, km: pd.DataFrame, narrow: bool = False
) -> Drawing | None:
    """Survival of all implants with its patient-clustered band, and by band of residual bone height.

    Nothing without a failure; the second panel only where failures are enough to compare.

    Parameters
    ----------
    curves : `subset, months, survival, conf_low, conf_high`; where there is no survival, none is told
    at_risk : `subset, months, n_at_risk, …`
    km : rows of `survival.km`: the intervals at the plan's months
    narrow : the panels one below the other
    """
    of_all = km[km["subset"].eq(ALL)] if len(km) else km
    curves = curves[curves["survival"].notna()] if len(curves) else curves
    whole = _of(curves, ALL)
    if len(whole) < 2 or of_all.empty or not of_all["n_events"].iloc[0]:
        return None
    bands = {s: _of(curves, s) for s in dict.fromkeys(curves["subset"]) if s.startswith("rbh_band=")}
    bands = {band: curve for band, curve in bands.items() if len(curve) > 1}
    bands = bands if len(bands) > 1 and enough_failures(of_all) else {}
    quoted = {subset: _quoted(km, subset) for subset in (ALL, *bands)}
    figure, places = _places(bands, narrow)
    known = [*(curve["survival"].min() for curve in bands.values()), whole[["survival", "conf_low"]].min().min()]
    known += [low for rows in quoted.values() for low in rows["conf_low"].dropna()]
    ends = max(float(curve["months"].max()) for curve in (whole, *bands.values())), starts_at(known)
    axes = panel(figure, places[0], ends, "All implants")
    at_months = _told_at_months_only(curves, km)
    if at_months:
        _draw_quoted(axes, quoted[ALL], OF_BANDS[0])
    else:
        draw_band(axes, whole)
        axes.step(whole["months"], whole["survival"], where="post", color=DARK, linewidth=1.4)
    left = places[0][0] - _left_mm(bands) + EDGE_MM
    numbers_below(figure, axes, left, {"All": _at_risk(at_risk, ALL, float(whole["months"].max()))})
    told = [say("survival.alt_all", shares=_told(quoted[ALL], whole))]
    if bands:
        axes = panel(figure, places[1], ends, "By residual bone height")
        _draw_bands(axes, bands, quoted, at_months)
        rows = {_label(band): _at_risk(at_risk, band, ends[0]) for band in bands}
        numbers_below(figure, axes, places[1][0] - _left_mm(bands) + EDGE_MM, rows)
        parts = [say("survival.alt_band", band=_label(s), shares=_told(quoted[s], bands[s])) for s in bands]
        told.append(say("survival.alt_bands", bands=" ".join(parts)))
    return Drawing(figure, " ".join(told), _covers(of_all.iloc[0]))


def _label(band: str) -> str:
    return f"{band.partition('=')[2]} mm"


def _left_mm(bands) -> float:
    return max([text_width_mm(_label(band)) for band in bands] + [16.0]) + EDGE_MM + 4


def _places(bands, narrow: bool):
    """The figure, and where its panels stand: side by side, one below the other, or one alone."""
    left = _left_mm(bands)
    right = max([text_width_mm(_label(band)) for band in bands] + [2.0]) + 5
    below = AXIS_MM + ROW_MM * (max(len(bands), 1) + 1)
    height = below + BODY_MM + TITLE_MM
    if not bands:
        width = SINGLE_MM if narrow else DOUBLE_MM
        return new_figure(width, height), [(left, below, width - left - 6, BODY_MM)]
    if narrow:
        first = below - ROW_MM * (len(bands) - 1)  # of one row of numbers
        figure = new_figure(SINGLE_MM, height + first + BODY_MM + TITLE_MM)
        wide = SINGLE_MM - left - right
        return figure, [(left, height + first, wide, BODY_MM), (left, below, wide, BODY_MM)]
    wide = (DOUBLE_MM - 2 * left - right - 5) / 2
    return new_figure(DOUBLE_MM, height), [(left, below, wide, BODY_MM), (2 * left + wide + 5, below, wide, BODY_MM)]


def _told_at_months_only(curves: pd.DataFrame, km: pd.DataFrame) -> bool:
    """Whether survival is told at the plan's months alone, as in a release: then no line says what is between them."""
    return bool(curves["months"].isin([0.0, *pd.to_numeric(km["term"])]).all())


def _draw_bands(axes, bands: dict[str, pd.DataFrame], quoted: dict[str, pd.DataFrame], at_months: bool) -> None:
    """A curve a band, told apart by lightness, line and marker, with intervals at the quoted months."""
    apart = 0.016 * axes.get_xlim()[1]
    for k, (band, curve) in enumerate(bands.items()):
        look = OF_BANDS[k % len(OF_BANDS)]
        if not at_months:
            axes.step(curve["months"], curve["survival"], where="post", color=look.colour, linestyle=look.line)
        _draw_quoted(axes, quoted[band], look, apart * (k - (len(bands) - 1) / 2))
    name_curves(axes, [(curve, _label(band)) for band, curve in bands.items()], BODY_MM)


def _draw_quoted(axes, rows: pd.DataFrame, look: Look, shift: float = 0.0) -> None:
    """Survival at the quoted months, with its intervals."""
    for _, row in rows.iterrows():
        x = float(row["term"]) + shift
        if not missing(row["conf_low"]):
            axes.plot([x, x], [row["conf_low"], row["conf_high"]], color=look.colour, linewidth=0.9, clip_on=False)
        axes.plot(
            x,
            row["estimate"],
            marker=look.marker,
            color=look.colour,
            markerfacecolor=look.face,
            clip_on=False,
            zorder=4,
        )


@drawn
def draw_survival_methods(
    km: pd.DataFrame,
    life_table: pd.DataFrame,
    turnbull: pd.DataFrame,
    weibull: pd.DataFrame,
    lost: pd.DataFrame,
    narrow: bool = False,
) -> Drawing | None:
    """Survival at the quoted months: the quoted row, filled, and the same by other methods, open.

    Parameters
    ----------
    km, life_table, turnbull, weibull, lost : rows of `survival.km`, `.life_table`, `.turnbull`, `.interval_curve` and
        of `sensitivity.lost_implants`
    narrow : a layout of one column
    """
    of_all = km[km["subset"].eq(ALL)] if len(km) else km
    quoted = quoted_in(of_all)
    if quoted.empty or not enough_failures(of_all):
        return None
    rows = pd.concat([table for table in (km, life_table, turnbull, weibull, lost) if len(table)])
    lines, lows = [], []
    for _, one in quoted.iterrows():
        lines.append(Line(f"Month {one['term']}", heading=True))
        for _, row in survival_at(rows, one).iterrows():
            numbers = share_words(row)
            if missing(row["conf_low"]):  # without an interval there is nothing to draw
                numbers = WITHHELD if row["problem"] == WITHHELD else numbers
                lines += [Line(f"   {method_name(row)}", (numbers,))] if numbers else []
                continue
            limits = (float(row[name]) for name in ("estimate", "conf_low", "conf_high"))
            lines.append(Line(f"   {method_name(row)}", (numbers,), *limits, not row["headline"]))
            if row["analysis"] != LOST:  # the worst case may leave the axis; its numbers stand beside it
                lows += [lines[-1].estimate, lines[-1].low]
    low = min((value for value in lows if not missing(value)), default=1.0)
    starts = 0.0 if low < 0.5 else math.floor(20 * (low - 0.01)) / 20
    axis = Axis("Implants in function, %" + (f" (axis starts at {100 * starts:g}%)" if starts else ""), percent=True)
    drawing = draw_forest(
        lines,
        ("% (95% interval)",),
        replace(axis, starts=starts),
        say("survival.alt_methods", shares=at_months(quoted)),
        QUOTED_IS_FILLED,
        narrow,
    )
    return replace(drawing, covers=_covers(quoted.iloc[0]))


def _covers(row) -> str:
    return say("survival.covers", implants=row["n_sites"], patients=row["n_patients"], failures=row["n_events"])


def _of(table: pd.DataFrame, subset: str) -> pd.DataFrame:
    return table[table["subset"].eq(subset)].sort_values("months") if len(table) else table


def _at_risk(at_risk: pd.DataFrame, subset: str, until: float) -> pd.Series:
    """Numbers at risk by month, as far as the curves go."""
    table = _of(at_risk, subset)
    return table[table["months"].le(until)].set_index("months")["n_at_risk"] if len(table) else pd.Series(dtype=float)


def _quoted(km: pd.DataFrame, subset: str) -> pd.DataFrame:
    """A subset's rows of survival.km that are quoted."""
    rows = quoted_in(km[km["subset"].eq(subset)])
    told = [bool(share_words(row)) for _, row in rows.iterrows()]
    return rows[pd.Series(told, index=rows.index, dtype=bool)]


def _told(quoted: pd.DataFrame, curve: pd.DataFrame) -> list[str]:
    """Survival at the quoted months; where there is none, at the last month that is shown."""
    if told := at_months(quoted):
        return told
    last = curve.iloc[-1]
    return [say("survival.at_month", share=percent(last["survival"]), month=f"{last['months']:g}")]
