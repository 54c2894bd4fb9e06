"""How the implants fared, drawn: Kaplan-Meier with the numbers behind it, and survival by other methods."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import DARK, LOOKS, Drawing, drawn, text_width_mm
from liftseries.report.kit.figures.terms import QUOTED_IS_FILLED
from liftseries.report.kit.numbers import WITHHELD, count, missing, percent
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.survival.curves import draw_band, frame, name_curves, numbers_below
from liftseries.report.survival.other_methods import LOST, method_name, survival_at
from liftseries.report.survival.sentences import share_words

AT_RISK = {"n_at_risk": "At risk", "n_failed": "Failed so far", "n_censored": "Censored so far"}
NONE_FOLLOWED = "fewer than 20 implants were followed"


@drawn
def draw_survival(curves: pd.DataFrame, at_risk: pd.DataFrame, km: pd.DataFrame | None = None) -> Drawing | None:
    """Survival of all implants with its patient-clustered band; at risk, failed and censored below.

    Parameters
    ----------
    curves : `subset, months, survival, conf_low, conf_high`; where there is no survival, none is told
    at_risk : `subset, months, n_at_risk, n_failed, n_censored`
    km : rows of `survival.km`, for the words only
    """
    curve = _of(_told_steps(curves), "all")
    if curve.empty:
        return None
    numbers = _of(at_risk, "all")
    figure, axes, ticks = frame([curve], list(AT_RISK.values()), room_right_mm=6)
    draw_band(axes, curve)
    axes.step(curve["months"], curve["survival"], where="post", color=DARK, linewidth=1.4)
    table = numbers.set_index("months")
    numbers_below(figure, axes, ticks, {name: table[column] for column, name in AT_RISK.items() if column in table})
    return Drawing(figure, "Kaplan-Meier survival of all implants. " + _told(km, curve, numbers, "all", "all implants"))


@drawn
def draw_survival_by_height(
    curves: pd.DataFrame, at_risk: pd.DataFrame, km: pd.DataFrame | None = None
) -> Drawing | None:
    """Survival by band of residual bone height, with intervals at the plan's months.

    Parameters
    ----------
    curves, at_risk : as for `draw_survival`, with subsets `rbh_band=…`
    km : rows of `survival.km`, for the intervals
    """
    curves = _told_steps(curves)
    bands = [s for s in dict.fromkeys(curves["subset"]) if s.startswith("rbh_band=")] if len(curves) else []
    if not bands:
        return None
    parts = {band: _of(curves, band) for band in bands}
    labels = {band: f"{band.partition('=')[2]} mm" for band in bands}
    rows = {band: _estimated(km, band) for band in bands}
    lows = [float(row["conf_low"]) for found in rows.values() for row in found if not missing(row["conf_low"])]
    right = max(text_width_mm(label) for label in labels.values()) + 8
    figure, axes, ticks = frame(
        list(parts.values()),
        [f"At risk, {label}" for label in labels.values()],
        right,
        bands=False,
        lows=lows,
    )
    shift = 0.007 * (axes.get_xlim()[1] - axes.get_xlim()[0])
    for k, band in enumerate(bands):
        look, curve = LOOKS[k % len(LOOKS)], parts[band]
        axes.step(curve["months"], curve["survival"], where="post", color=look.colour, linestyle=look.line)
        for row in rows[band]:
            x = float(row["term"]) + shift * (k - (len(bands) - 1) / 2) * 2
            if not missing(row["conf_low"]):
                axes.plot([x, x], [row["conf_low"], row["conf_high"]], color=look.colour, linewidth=0.9)
            axes.plot(
                x,
                row["estimate"],
                marker=look.marker,
                color=look.colour,
                markerfacecolor=look.face,
                clip_on=False,
                zorder=4,
            )
    name_curves(axes, [(parts[band], labels[band], LOOKS[k % len(LOOKS)]) for k, band in enumerate(bands)])
    below = {}
    for band in bands:
        n_at_risk = _of(at_risk, band).set_index("months")["n_at_risk"]
        # The table ends with a band's own follow-up: after it nobody is at risk.
        below[f"At risk, {labels[band]}"] = n_at_risk.reindex(ticks, fill_value=0)
    numbers_below(figure, axes, ticks, below)
    told = " ".join(_told(km, parts[band], _of(at_risk, band), band, labels[band]) for band in bands)
    return Drawing(figure, f"Kaplan-Meier survival of implants by residual bone height. {told}")


@drawn
def draw_survival_methods(
    km: pd.DataFrame, life_table: pd.DataFrame, turnbull: pd.DataFrame, weibull: pd.DataFrame, lost: pd.DataFrame
) -> Drawing | None:
    """Survival at the quoted months: the quoted row, filled, and the same by other methods, open.

    Parameters
    ----------
    km, life_table, turnbull, weibull, lost : rows of `survival.km`, `.life_table`, `.turnbull`, `.interval_curve` and
        of `sensitivity.lost_implants`
    """
    tables = [table for table in (km, life_table, turnbull, weibull, lost) if len(table)]
    rows = pd.concat(tables) if tables else km
    quoted = quoted_in(km)
    quoted = quoted[quoted["subset"].eq("all")] if len(quoted) else quoted
    if quoted.empty:
        return None
    lines, told, lows = [], [], []
    for _, one in quoted.iterrows():
        lines.append(Line(f"Month {one['term']}", heading=True))
        for _, row in survival_at(rows, one).iterrows():
            numbers = share_words(row) or (percent(row["estimate"]) if not missing(row["estimate"]) else "")
            if not numbers:  # the table says why
                lines += [Line(f"   {method_name(row)}", (WITHHELD,))] if row["problem"] == WITHHELD else []
                continue
            limits = (float(row[name]) for name in ("estimate", "conf_low", "conf_high"))
            lines.append(Line(f"   {method_name(row)}", (numbers,), *limits, not row["headline"]))
            if row["analysis"] != LOST:  # the worst case may leave the axis; its numbers stand beside it
                lows += [lines[-1].estimate, lines[-1].low]
        told.append(f"month {one['term']} {share_words(one)}")
    low = min(value for value in lows if not missing(value))
    starts = 0.0 if low < 0.5 else math.floor(20 * (low - 0.01)) / 20
    axis = Axis("Implants in function, %" + (f" (axis starts at {100 * starts:g}%)" if starts else ""), percent=True)
    return draw_forest(
        lines,
        ("% (95% interval)",),
        replace(axis, starts=starts),
        f"Implants in function by month and method. Quoted: {'; '.join(told)}.",
        QUOTED_IS_FILLED,
    )


def _told_steps(curves: pd.DataFrame) -> pd.DataFrame:
    """The steps that are told: of a report that leaves the house some are withheld."""
    return curves[curves["survival"].notna()]


def _of(table: pd.DataFrame, subset: str) -> pd.DataFrame:
    return table[table["subset"].eq(subset)].sort_values("months") if len(table) else table


def _estimated(km: pd.DataFrame | None, subset: str) -> list[pd.Series]:
    """A subset's rows of survival.km that are quoted."""
    if km is None or km.empty:
        return []
    rows = quoted_in(km[km["subset"].eq(subset)])
    return [row for _, row in rows.iterrows()]


def _told(km, curve: pd.DataFrame, numbers: pd.DataFrame, subset: str, name: str) -> str:
    """One sentence on a curve."""
    found = [f"{share_words(row)} at {row['term']} months" for row in _estimated(km, subset)]
    if not found:
        found = [f"{percent(curve['survival'].iloc[-1])} at the end of the curve"]
    at_start = numbers[numbers["months"].eq(0)]["n_at_risk"]
    n = f", {count(at_start.iloc[0])} at risk at placement" if len(at_start) else ""
    return f"{name[0].upper() + name[1:]}{n}: {', '.join(found)}."
