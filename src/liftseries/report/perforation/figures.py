"""What happened to the membrane, drawn: shares, standardised risks against bone and lift, odds ratios by method."""

from __future__ import annotations

import pandas as pd
from matplotlib.ticker import FuncFormatter

from liftseries.base.remarks import names_in
from liftseries.report.kit.figures.forest import Axis, Line, draw_forest
from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    LIGHT,
    MID,
    Drawing,
    axes_at,
    drawn,
    new_figure,
)
from liftseries.report.kit.figures.terms import draw_by_method
from liftseries.report.kit.numbers import WITHHELD, count, interval, missing, percent
from liftseries.report.kit.words import BANDS, Words
from liftseries.report.perforation.other_methods import method_name
from liftseries.report.perforation.sentences import SHARES_BY, share_words

NOT_OF_AN_ERROR = {"one_sided_bound", "one_patient_has_the_outcome"}


@drawn
def draw_perforation_by_height(rates: pd.DataFrame, words: Words | None = None) -> Drawing | None:
    """Share of sites perforated: all, by residual height and planned lift, by approach, protocol and centre.

    Parameters
    ----------
    rates : rows of `perforation.rate`
        Those of `patients` are drawn; where at most one patient has the outcome, with an open marker.
    words : names of the study's own columns
    """
    words = words or Words()
    rates = rates[rates["method"].eq("patients")] if len(rates) else rates
    chosen = [row for subset in _subsets(rates) for _, row in rates[rates["subset"].eq(subset)].iterrows()]
    if not any(row["n_sites"] for row in chosen if not missing(row["n_sites"])):
        return None
    lines, told, group, few = [], [], "", False
    for row in chosen:
        name, _, level = row["subset"].partition("=")
        if level and name != group:
            group = name
            lines.append(Line(f"{BANDS[name]}, mm" if name in BANDS else words.column(name), heading=True))
        perforated = f"{count(row['n_events'])} of {count(row['n_sites'])}"
        without = WITHHELD if row["problem"] == WITHHELD else "not estimated"
        numbers = share_words(row) or without
        open_marker = bool(NOT_OF_AN_ERROR & names_in(row["note"]))
        few |= open_marker
        estimate, low, high = (float(row[column]) for column in ("estimate", "conf_low", "conf_high"))
        label = f"   {level.replace('_', ' ')}" if level else "All sites"
        columns = (perforated, numbers + (" *" if open_marker else ""))
        lines.append(Line(label, columns, estimate, low, high, open_marker))
        told.append(f"{words.subset(row['subset']) if level else 'all sites'} {perforated}, {numbers}")
    note = ""
    if few:
        note = (
            "* Open marker: at most one patient has the outcome, so that the interval is the exact one of as many "
            "chances as there are patients; with none, a bound of one side."
        )
    return draw_forest(
        lines,
        ("Perforated", "% (95% interval)"),
        Axis("Sites perforated, %", percent=True),
        f"Share of sites whose membrane was perforated. {'; '.join(told)}.",
        note,
    )


def _subsets(rates: pd.DataFrame) -> list[str]:
    """All sites, then the levels of each column in the order in which they stand."""
    there = list(dict.fromkeys(rates["subset"])) if len(rates) else []
    return [s for s in there if s == "all"] + [s for name in SHARES_BY for s in there if s.startswith(f"{name}=")]


@drawn
def draw_perforation_methods(
    firth: pd.DataFrame, gee: pd.DataFrame, imputed: pd.DataFrame, words: Words | None = None
) -> Drawing | None:
    """Odds ratios of a perforation: of each term the quoted one, filled, and the same by other methods, open.

    Parameters
    ----------
    firth, gee, imputed : rows of `perforation.firth`, `.gee` and `.imputed`
    words : names of the study's own columns
    """
    rows = pd.concat([table for table in (firth, gee, imputed) if len(table)] or [firth])
    return draw_by_method(
        rows,
        words or Words(),
        method_name,
        Axis("Odds ratio of a perforation", none=1.0, ratio=True, towards=("fewer perforations", "more perforations")),
        "odds ratio of a perforation",
    )


PANELS = {"rbh_mid_mm": "Residual bone height, mm", "protrusion_mm": "Planned lift, mm"}
PANEL_MM, GAP_MM, BODY_MM, BOTTOM_MM, TOP_MM = 72.0, 16.0, 52.0, 22.0, 3.0


@drawn
def draw_risk_curves(curves: pd.DataFrame, height: pd.DataFrame, lift: pd.DataFrame) -> Drawing | None:
    """Standardised risk along residual height and planned lift: the curve with its band, and the quoted model's risks.

    Parameters
    ----------
    curves : `exposure, method, value_mm, risk, conf_low, conf_high, n_sites`
        n_sites are those within half a millimetre, drawn as bars below the curve.
    height, lift : rows of `perforation.risk` and `perforation.risk_lift`, of which the quoted ones are drawn
    """
    panels = {name: curves[curves["exposure"].eq(name)] for name in PANELS} if len(curves) else {}
    panels = {name: panel for name, panel in panels.items() if panel["risk"].notna().any()}
    if not panels:
        return None
    figure = new_figure(DOUBLE_MM, BOTTOM_MM + BODY_MM + TOP_MM)
    top = min(1.0, 1.05 * max(0.05, *(float(panel["conf_high"].max()) for panel in panels.values())))
    told = []
    for k, (name, panel) in enumerate(panels.items()):
        axes = axes_at(figure, 13.0 + k * (PANEL_MM + GAP_MM), BOTTOM_MM, PANEL_MM, BODY_MM)
        axes.fill_between(
            panel["value_mm"], panel["conf_low"], panel["conf_high"], color=LIGHT, alpha=0.55, linewidth=0
        )
        axes.plot(panel["value_mm"], panel["risk"], color=DARK, linewidth=1.4)
        quoted = _quoted_along(height if name == "rbh_mid_mm" else lift)
        if len(quoted) and panel["method"].eq("standardised").all():
            axes.plot(quoted["term"].astype(float), quoted["estimate"], color=MID, linewidth=1.2, linestyle=(0, (5, 2)))
        axes.set_xlim(float(panel["value_mm"].min()), float(panel["value_mm"].max()))
        axes.set_ylim(0, top)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
        axes.grid(axis="y")
        axes.set_xlabel(PANELS[name])
        axes.set_ylabel("Risk of a perforation, %")
        _sites_below(figure, axes, panel)
        told += [
            f"{PANELS[name].removesuffix(', mm').lower()} {row['term']} mm "
            f"{interval(row['estimate'], row['conf_low'], row['conf_high'], percent)}"
            for _, row in quoted.iloc[sorted({0, len(quoted) // 2, len(quoted) - 1})[: len(quoted)]].iterrows()
        ]
    words = f"quoted: {'; '.join(told)}" if told else "none of them is quoted"
    return Drawing(figure, f"Standardised risk of a perforation; {words}.")


def _quoted_along(rows: pd.DataFrame) -> pd.DataFrame:
    """The quoted risks along a measure, from low to high."""
    if rows.empty:
        return rows
    quoted = rows[rows["headline"].eq(True) & rows["estimate"].notna()]
    return quoted.loc[quoted["term"].astype(float).sort_values().index]


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
