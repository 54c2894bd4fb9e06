"""What happened to the membrane, drawn: rates and standardised risks against bone and lift, odds ratios."""

from __future__ import annotations

import pandas as pd
from matplotlib.ticker import FuncFormatter

from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    Drawing,
    axes_at,
    drawn,
    new_figure,
    nothing_drawn,
)
from liftseries.report.kit.figures.terms import draw_terms
from liftseries.report.kit.numbers import WITHHELD, count, counted, interval, missing, percent
from liftseries.report.kit.words import BANDS, Words


@drawn
def draw_perforation_by_height(rates: pd.DataFrame) -> Drawing:
    """Share of sites perforated: all, by residual height and by planned lift.

    Parameters
    ----------
    rates : rows of `perforation.rate`
        The patient-clustered interval is drawn; where there is none the exact one, with an open marker.
    """
    chosen = [row for subset in _subsets(rates) if (row := _drawn_row(rates, subset)) is not None]
    if not any(row["n_sites"] for row, _ in chosen if not missing(row["n_sites"])):
        return nothing_drawn("no site has its perforation recorded", DOUBLE_MM)
    lines, told, group = [], [], ""
    for row, exact in chosen:
        name, _, level = row["subset"].partition("=")
        if name in BANDS and name != group:
            group = name
            lines.append(Line(f"{BANDS[name]}, mm", heading=True))
        perforated = f"{count(row['n_events'])} of {count(row['n_sites'])}"
        without = WITHHELD if row["problem"] == WITHHELD else "not estimated"
        numbers = interval(row["estimate"], row["conf_low"], row["conf_high"], percent) or without
        label = "All sites" if name == "all" else f"   {level}"
        lines.append(
            Line(
                label=label,
                columns=(perforated, numbers + (" *" if exact else "")),
                estimate=float(row["estimate"]),
                low=float(row["conf_low"]),
                high=float(row["conf_high"]),
                open_marker=exact,
            )
        )
        said = "all sites" if name == "all" else f"{BANDS[name].lower()} {level} mm"
        told.append(f"{said} {perforated}, {numbers}{', exact interval' if exact else ''}")
    note = ""
    if any(exact for _, exact in chosen):
        note = (
            "* Open marker: exact interval, which takes sites as independent; the patient-clustered one "
            "could not be had."
        )
    return draw_forest(
        lines,
        ("Perforated", "% (95% interval)"),
        Axis("Sites perforated, %", percent=True),
        f"Share of sites whose membrane was perforated. {'; '.join(told)}.",
        note,
    )


def _subsets(rates: pd.DataFrame) -> list[str]:
    """All sites, then the bands in the order in which they stand."""
    there = list(dict.fromkeys(rates["subset"])) if len(rates) else []
    return [s for s in there if s == "all"] + [s for band in BANDS for s in there if s.startswith(f"{band}=")]


def _drawn_row(rates: pd.DataFrame, subset: str) -> tuple[pd.Series, bool] | None:
    """The row of a subset to draw, and whether it is the exact one."""
    rows = {row["method"]: row for _, row in rates[rates["subset"].eq(subset)].iterrows()}
    clustered = rows.get("cluster")
    if clustered is not None and not missing(clustered["estimate"]):
        return clustered, False
    return (rows["exact"], rows["exact"]["problem"] != WITHHELD) if "exact" in rows else None


@drawn
def draw_perforation_odds(gee: pd.DataFrame, words: Words | None = None) -> Drawing:
    """Odds ratios of a perforation.

    Parameters
    ----------
    gee : rows of `perforation.gee`
    words : names of the study's own columns
    """
    lead = ""
    if len(gee):
        first = gee.iloc[0]
        lead = f"{counted(first['n_events'], 'perforation')} in {counted(first['n_sites'], 'site')}. "
    return draw_terms(
        gee,
        words,
        "Odds ratio of a perforation",
        ("fewer perforations", "more perforations"),
        ratio=True,
        lead=lead,
    )


PANELS = {"rbh_mid_mm": "Residual bone height, mm", "protrusion_mm": "Planned lift, mm"}
PANEL_MM, GAP_MM, BODY_MM, BOTTOM_MM, TOP_MM = 72.0, 16.0, 52.0, 22.0, 3.0


@drawn
def draw_risk_curves(curves: pd.DataFrame) -> Drawing:
    """Standardised risk along residual height and planned lift, with patient-clustered bands.

    Parameters
    ----------
    curves : `exposure, value_mm, risk, conf_low, conf_high, n_sites`
        n_sites are those within half a millimetre, drawn as bars below the curve.
    """
    panels = {name: curves[curves["exposure"].eq(name)] for name in PANELS} if len(curves) else {}
    panels = {name: panel for name, panel in panels.items() if panel["risk"].notna().any()}
    if not panels:
        return nothing_drawn("the risk could not be estimated along any measure", DOUBLE_MM)
    figure = new_figure(DOUBLE_MM, BOTTOM_MM + BODY_MM + TOP_MM)
    top = min(1.0, 1.05 * max(0.05, *(float(panel["conf_high"].max()) for panel in panels.values())))
    told = []
    for k, (name, panel) in enumerate(panels.items()):
        axes = axes_at(figure, 13.0 + k * (PANEL_MM + GAP_MM), BOTTOM_MM, PANEL_MM, BODY_MM)
        axes.fill_between(
            panel["value_mm"], panel["conf_low"], panel["conf_high"], color=LIGHT, alpha=0.55, linewidth=0
        )
        axes.plot(panel["value_mm"], panel["risk"], color=DARK, linewidth=1.4)
        axes.set_xlim(float(panel["value_mm"].min()), float(panel["value_mm"].max()))
        axes.set_ylim(0, top)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
        axes.grid(axis="y")
        axes.set_xlabel(PANELS[name])
        axes.set_ylabel("Risk of a perforation, %")
        _sites_below(figure, axes, panel)
        told += [
            f"{PANELS[name].removesuffix(', mm').lower()} {row['value_mm']:g} mm "
            f"{interval(row['risk'], row['conf_low'], row['conf_high'], percent)}"
            for _, row in panel.iloc[[0, len(panel) // 2, -1]].iterrows()
        ]
    return Drawing(figure, f"Standardised risk of a perforation: {'; '.join(told)}.")


def _sites_below(figure, axes, panel: pd.DataFrame) -> None:
    """How many sites lie near each measure: a strip of bars under the ticks, and the largest count in words."""
    height = figure.get_size_inches()[1] * 25.4
    box = axes.get_position()
    strip = figure.add_axes([box.x0, 5.2 / height, box.width, 4.6 / height])
    width = float(panel["value_mm"].diff().median()) or 1.0
    strip.bar(panel["value_mm"], panel["n_sites"], width=0.8 * width, color=DARK, linewidth=0)
    strip.set_xlim(axes.get_xlim())
    strip.set_ylim(0, max(float(panel["n_sites"].max()), 1.0))
    strip.set_axis_off()
    figure.text(box.x1, 1.6 / height, f"Bars: sites within 0.5 mm, at most {int(panel['n_sites'].max())}", ha="right")
