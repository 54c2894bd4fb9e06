"""How the implants fared, drawn: Kaplan-Meier with the numbers behind it, between visits, death competing."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    LOOKS,
    MID,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    nothing_drawn,
    text_width_mm,
)
from liftseries.report.kit.method import one_sided
from liftseries.report.kit.numbers import count, interval, missing, percent
from liftseries.report.survival.curves import (
    BODY_MM,
    BOTTOM_MM,
    draw_band,
    frame,
    month_ticks,
    name_curves,
    numbers_below,
)

AT_RISK = {"n_at_risk": "At risk", "n_failed": "Failed so far", "n_censored": "Censored so far"}
NONE_FOLLOWED = "no implant was followed to a visit"


@drawn
def draw_survival(curves: pd.DataFrame, at_risk: pd.DataFrame, km: pd.DataFrame | None = None) -> Drawing:
    """Survival of all implants with its patient-clustered band; at risk, failed and censored below.

    Parameters
    ----------
    curves : `subset, months, survival, conf_low, conf_high`; where there is no survival, none is told
    at_risk : `subset, months, n_at_risk, n_failed, n_censored`
    km : rows of `survival.km`, for the words only
    """
    curve = _of(_told_steps(curves), "all")
    if curve.empty:
        return nothing_drawn(NONE_FOLLOWED, DOUBLE_MM)
    numbers = _of(at_risk, "all")
    figure, axes, ticks = frame([curve], list(AT_RISK.values()), room_right_mm=6)
    draw_band(axes, curve)
    axes.step(curve["months"], curve["survival"], where="post", color=DARK, linewidth=1.4)
    table = numbers.set_index("months")
    numbers_below(figure, axes, ticks, {name: table[column] for column, name in AT_RISK.items() if column in table})
    return Drawing(figure, "Kaplan-Meier survival of all implants. " + _told(km, curve, numbers, "all", "all implants"))


@drawn
def draw_survival_by_height(curves: pd.DataFrame, at_risk: pd.DataFrame, km: pd.DataFrame | None = None) -> Drawing:
    """Survival by band of residual bone height, with intervals at the plan's months.

    Parameters
    ----------
    curves, at_risk : as for `draw_survival`, with subsets `rbh_band=…`
    km : rows of `survival.km`, for the intervals
    """
    curves = _told_steps(curves)
    bands = [s for s in dict.fromkeys(curves["subset"]) if s.startswith("rbh_band=")] if len(curves) else []
    if not bands:
        return nothing_drawn(NONE_FOLLOWED, DOUBLE_MM)
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
def draw_survival_between_visits(curves: pd.DataFrame, turnbull: pd.DataFrame) -> Drawing:
    """Survival with failures dated at the visit, and known only to lie between two visits.

    Parameters
    ----------
    curves : as for `draw_survival`
    turnbull : `months, survival, conf_low, conf_high`
    """
    dated = _of(curves, "all")
    if dated.empty or turnbull.empty or turnbull["survival"].isna().all():
        return nothing_drawn("no failure lies between two visits", DOUBLE_MM)
    labels = {"dated": "at the visit", "between": "between visits"}
    right = max(text_width_mm(label) for label in labels.values()) + 8
    figure, axes, _ = frame([dated, turnbull], [], right)
    draw_band(axes, turnbull)
    axes.step(dated["months"], dated["survival"], where="post", color=DARK, linewidth=1.2)
    axes.plot(turnbull["months"], turnbull["survival"], color=MID, linestyle=LOOKS[1].line, linewidth=1.4)
    name_curves(axes, [(dated, labels["dated"], LOOKS[0]), (turnbull, labels["between"], LOOKS[1])])
    told = [
        f"{name}: {percent(curve['survival'].iloc[-1])} at {curve['months'].iloc[-1]:g} months"
        for name, curve in (("Dated at the visit", dated), ("Between visits", turnbull))
    ]
    return Drawing(figure, f"Survival of all implants by how a failure is dated. {'; '.join(told)}.")


@drawn
def draw_competing_risks(curves: pd.DataFrame) -> Drawing:
    """Cumulative incidence of failure with its band, and of the patient's death.

    Parameters
    ----------
    curves : `subset, months, failure, conf_low, conf_high, death`
    """
    curve = _of(curves, "all")
    if curve.empty:
        return nothing_drawn(NONE_FOLLOWED, DOUBLE_MM)
    labels = ("failed", "patient died")
    right = max(text_width_mm(label) for label in labels) + 8
    height = BOTTOM_MM + BODY_MM + 4
    figure = new_figure(DOUBLE_MM, height)
    axes = axes_at(figure, 16, BOTTOM_MM, DOUBLE_MM - 16 - right, BODY_MM)
    top = float(np.nanmax(curve[["failure", "conf_high", "death"]].to_numpy(float)))
    axes.set_xlim(0, max(float(curve["months"].max()), 1.0))
    axes.set_ylim(0, min(1.0, max(1.08 * top, 0.02)))
    axes.xaxis.set_major_locator(FixedLocator(month_ticks(float(curve["months"].max()))))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.grid(axis="y")
    axes.set_xlabel("Months since placement")
    axes.set_ylabel("Implants, %")
    known = curve[curve["conf_low"].notna()]
    axes.fill_between(
        known["months"], known["conf_low"], known["conf_high"], step="post", color=LIGHT, alpha=0.55, linewidth=0
    )
    for column, look in (("failure", LOOKS[0]), ("death", LOOKS[1])):
        axes.step(curve["months"], curve[column], where="post", color=look.colour, linestyle=look.line)
    ends = [
        (curve.assign(survival=curve[column]), label, LOOKS[k])
        for k, (column, label) in enumerate(zip(("failure", "death"), labels, strict=True))
    ]
    name_curves(axes, ends)
    last = curve.iloc[-1]
    return Drawing(
        figure,
        f"Share of implants failed and of implants whose patient died. At {last['months']:g} months: failed "
        f"{percent(last['failure'])}, patient died {percent(last['death'])}.",
    )


def _told_steps(curves: pd.DataFrame) -> pd.DataFrame:
    """The steps that are told: of a report that leaves the house some are withheld."""
    return curves[curves["survival"].notna()]


def _of(table: pd.DataFrame, subset: str) -> pd.DataFrame:
    return table[table["subset"].eq(subset)].sort_values("months") if len(table) else table


def _estimated(km: pd.DataFrame | None, subset: str) -> list[pd.Series]:
    """A subset's rows of survival.km that have an estimate."""
    if km is None or km.empty:
        return []
    rows = km[km["subset"].eq(subset) & km["estimate"].notna() & ~one_sided(km)]
    return [row for _, row in rows.iterrows()]


def _told(km, curve: pd.DataFrame, numbers: pd.DataFrame, subset: str, name: str) -> str:
    """One sentence on a curve."""
    found = [
        f"{interval(row['estimate'], row['conf_low'], row['conf_high'], percent)} at {row['term']} months"
        for row in _estimated(km, subset)
    ]
    if not found:
        found = [f"{percent(curve['survival'].iloc[-1])} at the end of the curve"]
    at_start = numbers[numbers["months"].eq(0)]["n_at_risk"]
    n = f", {count(at_start.iloc[0])} at risk at placement" if len(at_start) else ""
    return f"{name[0].upper() + name[1:]}{n}: {', '.join(found)}."
