"""What happened to the membrane, drawn: rates against bone and lift, and what goes with a perforation."""

from __future__ import annotations

import pandas as pd

from liftseries.report.figures.forest import Axis, Line, draw_forest
from liftseries.report.figures.style import DOUBLE_MM, Drawing, drawn, nothing_drawn
from liftseries.report.figures.terms import draw_terms
from liftseries.report.numbers import counted, interval, missing, percent
from liftseries.report.wording import BANDS, Words


@drawn
def draw_perforation_by_height(rates: pd.DataFrame) -> Drawing:
    """Share of sites perforated: all, by residual height and by planned lift.

    Parameters
    ----------
    rates : rows of `perforation.rate`
        The patient-clustered interval is drawn; where there is none the exact one, with an open marker.
    """
    chosen = [row for subset in _subsets(rates) if (row := _drawn_row(rates, subset)) is not None]
    if not any(row["n_sites"] for row, _ in chosen):
        return nothing_drawn("no site has its perforation recorded", DOUBLE_MM)
    lines, told, group = [], [], ""
    for row, exact in chosen:
        name, _, level = row["subset"].partition("=")
        if name in BANDS and name != group:
            group = name
            lines.append(Line(f"{BANDS[name]}, mm", heading=True))
        n_events, n_sites = int(row["n_events"]), int(row["n_sites"])
        numbers = interval(row["estimate"], row["conf_low"], row["conf_high"], percent) or "not estimated"
        label = "All sites" if name == "all" else f"   {level}"
        lines.append(
            Line(
                label=label,
                columns=(f"{n_events} of {n_sites}", numbers + (" *" if exact else "")),
                estimate=float(row["estimate"]),
                low=float(row["conf_low"]),
                high=float(row["conf_high"]),
                open_marker=exact,
            )
        )
        said = "all sites" if name == "all" else f"{BANDS[name].lower()} {level} mm"
        told.append(f"{said} {n_events} of {n_sites}, {numbers}{', exact interval' if exact else ''}")
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
    return (rows["exact"], True) if "exact" in rows else None


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
