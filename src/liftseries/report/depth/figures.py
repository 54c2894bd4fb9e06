"""How deep was drilled, drawn: achieved against planned, deviations by kind, the ladder of single cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from liftseries.report.kit.figures.style import (
    DARK,
    DOUBLE_MM,
    INK,
    LIGHT,
    LOOKS,
    MID,
    PALE,
    RULE,
    SINGLE_MM,
    SMALL_PT,
    TEXT_PT,
    Drawing,
    axes_at,
    drawn,
    name_beside,
    new_figure,
    nothing_drawn,
    text_width_mm,
    wrapped,
)
from liftseries.report.kit.numbers import counted, decimal, interval, listed, missing, share_of
from liftseries.report.kit.words import CANNOT_OCCUR, DEVIATIONS, IMPOSSIBLE, deviation_words

AGREEMENT_WORDS = {"high": "upper limit", "bias": "bias", "low": "lower limit"}
LONGEST_NARROW_LOG = 16  # passes that fit one column; longer logs get the whole width


@drawn
def draw_planned_achieved(cases: pd.DataFrame, agreement: pd.DataFrame) -> Drawing:
    """Achieved less planned last depth against the planned one, with bias and limits of agreement.

    Parameters
    ----------
    cases : one row a site; `approach, planned_last_mm, achieved_last_mm`
    agreement : rows of `depth.agreement`; without estimates only the sites are drawn
    """
    wanted = ["planned_last_mm", "achieved_last_mm"]
    if not set(wanted) <= set(cases):
        return nothing_drawn("no site has both a planned and an achieved last depth")
    table = cases[["approach", *wanted]].assign(**{name: pd.to_numeric(cases[name]) for name in wanted}).dropna()
    if table.empty:
        return nothing_drawn("no site has both a planned and an achieved last depth")
    table["error_mm"] = (table["achieved_last_mm"] - table["planned_last_mm"]).astype(float).round(6)
    table["planned_last_mm"] = table["planned_last_mm"].astype(float).round(6)
    levels = [level for level in ("guided", "freehand") if table["approach"].eq(level).any()]
    lines = {row["term"]: row for _, row in agreement.iterrows() if not missing(row["estimate"])}

    left, bottom, right, panel_height = 16.0, 11.0, 37.0, 56.0
    width = (DOUBLE_MM - left - right - 4 * (len(levels) - 1)) / len(levels)
    figure = new_figure(DOUBLE_MM, bottom + panel_height + 7)
    spots = {
        level: table[table["approach"].eq(level)].groupby(["planned_last_mm", "error_mm"]).size() for level in levels
    }
    most = max(sizes.max() for sizes in spots.values())
    x = table["planned_last_mm"]
    y = np.r_[table["error_mm"], [row["estimate"] for row in lines.values()], 0.0]
    x_room, y_room = 0.06 * (np.ptp(x) or 1) + 0.2, 0.09 * (np.ptp(y) or 1)
    for k, level in enumerate(levels):
        axes = axes_at(figure, left + k * (width + 4), bottom, width, panel_height)
        axes.axhline(0, color=INK, linewidth=0.6)
        for term, row in lines.items():
            axes.axhline(row["estimate"], color=MID, linewidth=1.1, linestyle="-" if term == "bias" else (0, (4, 2)))
        sizes = spots[level]
        axes.scatter(
            sizes.index.get_level_values(0),
            sizes.index.get_level_values(1),
            s=_area(sizes.to_numpy(), most),
            facecolor=LIGHT,
            edgecolor=DARK,
            linewidth=0.6,
            marker="o" if k == 0 else "D",
        )
        axes.set_xlim(x.min() - x_room, x.max() + x_room)
        axes.set_ylim(y.min() - y_room, y.max() + y_room)
        axes.set_xlabel("Planned last depth below the crest, mm")
        axes.set_title(f"{level}, {counted(len(table[table['approach'].eq(level)]), 'site')}", loc="left", pad=4)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "−")))
        if k:
            axes.tick_params(labelleft=False)
        else:
            axes.set_ylabel("Achieved less planned, mm")
    _name_lines(axes, lines)
    _size_key(figure, axes, most)

    named = [f"{AGREEMENT_WORDS.get(term, term)} {decimal(row['estimate'])} mm" for term, row in lines.items()]
    deeper = int((table["error_mm"] > 1e-6).sum())
    shallower = int((table["error_mm"] < -1e-6).sum())
    alt = (
        f"Achieved less planned last depth against the planned depth for {counted(len(table), 'site')}: "
        f"{deeper} deeper than planned, {shallower} shallower, {len(table) - deeper - shallower} as planned"
        f"; {', '.join(named) if named else 'no limits of agreement could be estimated'}."
    )
    return Drawing(figure, alt)


def _area(sizes: np.ndarray, most: int) -> np.ndarray:
    """Areas in square points, proportional to the number of sites; the largest never hides its neighbours."""
    return 9 + 91 * (np.asarray(sizes, float) - 1) / max(most - 1, 1)


def _name_lines(axes, lines: dict) -> None:
    """Names beside the axes at the height of each line, pushed apart where they would meet."""
    low, high = axes.get_ylim()
    least = 0.11 * (high - low)
    placed = -np.inf
    for term in ("low", "bias", "high"):
        if term in lines:
            row = lines[term]
            placed = max(row["estimate"], placed + least)
            numbers = interval(row["estimate"], row["conf_low"], row["conf_high"])
            text = f"{AGREEMENT_WORDS[term]}\n{numbers}"
            name_beside(axes, placed, text)


def _size_key(figure, axes, most: int) -> None:
    """What the largest mark stands for."""
    if most < 2:
        return
    steps = sorted({1, most} if most < 6 else {1, round(most / 2), most})
    looks = {"marker": "o", "markerfacecolor": LIGHT, "markeredgecolor": DARK, "markeredgewidth": 0.6}
    diameters = np.sqrt(_area(np.array(steps), most))
    labels = [*(f"{n}" for n in steps[:-1]), counted(steps[-1], "site")]
    handles = [
        Line2D([], [], linestyle="", markersize=diameter, label=label, **looks)
        for diameter, label in zip(diameters, labels, strict=True)
    ]
    axes.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(1.03, 0.99),
        borderpad=0,
        handletextpad=0.1,
        columnspacing=0.7,
        ncols=len(handles),
    )


@drawn
def draw_deviations(deviations: pd.DataFrame) -> Drawing:
    """Share of logged sites with each deviation, guided and freehand apart.

    Parameters
    ----------
    deviations : `deviation, subset, n_sites, n_true, share`
        Of the subsets those by approach are drawn, or `all` where there are none.
    """
    judged = deviations[pd.to_numeric(deviations["n_sites"]).ne(0)] if len(deviations) else deviations
    if judged.empty:
        return nothing_drawn("no site has a drilling log, so no deviation can be judged")
    subsets = [subset for subset in judged["subset"].unique() if subset.startswith("approach=")] or ["all"]
    subsets.sort(key=lambda subset: subset != "approach=guided")
    kinds = list(dict.fromkeys(judged["deviation"]))
    cell = judged.set_index(["deviation", "subset"])
    names = [DEVIATIONS.get(kind, kind) for kind in kinds]
    texts = {
        (kind, subset): CANNOT_OCCUR
        if (kind, subset) in IMPOSSIBLE
        else share_of(cell.loc[(kind, subset), "n_true"], cell.loc[(kind, subset), "n_sites"])
        if (kind, subset) in cell.index
        else "none judged"
        for kind in kinds
        for subset in subsets
    }
    heads = [subset.partition("=")[2] or "all sites" for subset in subsets]
    label_mm = max(text_width_mm(name) for name in names) + 5
    column_mm = max(text_width_mm(text) for text in [*texts.values(), *heads]) + 4
    row_mm, bottom = 6.4, 11.0
    height = bottom + row_mm * len(kinds) + 8
    figure = new_figure(DOUBLE_MM, height)
    width = DOUBLE_MM - label_mm - column_mm * len(subsets) - 8
    axes = axes_at(figure, label_mm, bottom, width, row_mm * len(kinds))
    shares = pd.to_numeric(judged["share"])
    most = shares[judged["subset"].isin(subsets)].max()
    axes.set(ylim=(len(kinds) - 0.5, -0.5), xlim=(0, 0.05 if missing(most) else max(0.05, 1.08 * most)))
    axes.grid(axis="x")
    axes.set_yticks(range(len(kinds)), names)
    axes.tick_params(axis="y", length=0, pad=6)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:g}"))
    axes.set_xlabel("Sites with a drilling log that show it, %")
    offsets = np.linspace(-0.17, 0.17, len(subsets)) if len(subsets) > 1 else [0.0]
    for k, (subset, offset) in enumerate(zip(subsets, offsets, strict=True)):
        look = LOOKS[k % len(LOOKS)]
        column = (label_mm + width + 6 + k * column_mm + 4.5) / DOUBLE_MM
        top = (bottom + row_mm * len(kinds) + 3.2) / height
        figure.text(column, top, heads[k], weight="bold", va="center")
        figure.add_artist(
            Line2D(
                [column - 2.4 / DOUBLE_MM],
                [top],
                marker=look.marker,
                color=look.colour,
                markerfacecolor=look.face,
            )
        )
        for at, kind in enumerate(kinds):
            y = (bottom + row_mm * (len(kinds) - at - 0.5)) / height
            figure.text(column, y, texts[kind, subset], va="center")
            if (kind, subset) in cell.index and (kind, subset) not in IMPOSSIBLE:
                share = float(cell.loc[(kind, subset), "share"])
                axes.plot([0, share], [at + offset] * 2, color=look.colour, linewidth=0.9, linestyle=look.line)
                axes.plot(
                    share,
                    at + offset,
                    marker=look.marker,
                    color=look.colour,
                    markerfacecolor=look.face,
                    clip_on=False,
                    zorder=3,
                )
    told = "; ".join(
        f"{name.lower()}: "
        + ", ".join(f"{head} {texts[kind, subset]}" for head, subset in zip(heads, subsets, strict=True))
        for kind, name in zip(kinds, names, strict=True)
    )
    return Drawing(figure, f"Share of sites with a drilling log that show each deviation. {told}.")


@drawn
def draw_ladder_case(ladder_cases: pd.DataFrame) -> Drawing:
    """The passes of one or two cases against bone, sinus floor and planned rungs; the crest on top.

    Parameters
    ----------
    ladder_cases : one row a pass
        `case, site_label, approach, step_no, role, length_mm, stop_length_mm, depth_mm, deepest_before_mm,
        finding, rbh_min_mm, rbh_max_mm, rungs_mm, deviations`; the last two space-separated.
    """
    if ladder_cases.empty:
        return nothing_drawn("no site has both a planned ladder and a drilling log")
    panels = [case.sort_values("step_no") for _, case in ladder_cases.groupby("case", sort=True)]
    longest = max(len(case) for case in panels)
    side_by_side = longest <= LONGEST_NARROW_LOG
    across = len(panels) if side_by_side else 1
    down = 1 if side_by_side else len(panels)
    figure_mm = DOUBLE_MM if across > 1 or not side_by_side else SINGLE_MM
    width = figure_mm / across
    left, head_mm, body_mm = 12.0, 5.0, 66.0
    labels_mm = max(text_width_mm(label) for case in panels for label in map(pass_label, _rows(case))) + 3
    notes = [wrapped(_deviations_told(case), width - 5) for case in panels]
    foot_mm = 11.0 + 3.4 * (max(note.count("\n") for note in notes) + 1) + 1
    panel_mm = head_mm + labels_mm + body_mm + foot_mm
    figure = new_figure(figure_mm, panel_mm * down + 1)
    deepest = max(
        float(pd.to_numeric(case[["depth_mm", "deepest_before_mm", "rbh_max_mm"]].stack()).max()) for case in panels
    )
    for k, (case, note) in enumerate(zip(panels, notes, strict=True)):
        x0 = width * (k if side_by_side else 0)
        y0 = 0.5 if side_by_side else panel_mm * (down - 1 - k) + 0.5
        axes = axes_at(figure, x0 + left, y0 + foot_mm, width - left - 12, body_mm)
        _draw_case(axes, case, max(deepest + 1.2, 1.22 * deepest))  # room for the word below the deepest pass
        heading = f"Case {int(case['case'].iloc[0])}, {case['approach'].iloc[0]}: {case['site_label'].iloc[0]}"
        figure_x = (x0 + 2.5) / figure_mm
        total = panel_mm * down + 1
        figure.text(figure_x, (y0 + panel_mm - 2.6) / total, heading, size=TEXT_PT, weight="bold", va="center")
        figure.text(figure_x, (y0 + foot_mm - 9.2) / total, note, va="top", linespacing=1.2)
    return Drawing(figure, " ".join(_case_told(case) for case in panels))


def _rows(case: pd.DataFrame):
    return case.itertuples(index=False)


def pass_label(step) -> str:
    """`pilot 12.5 − 9`: what was used, and its length less what the stop takes off."""
    stop = "" if missing(step.stop_length_mm) or step.stop_length_mm == 0 else f" − {step.stop_length_mm:g}"
    return f"{step.role} {step.length_mm:g}{stop}"


def _deviations_told(case: pd.DataFrame) -> str:
    named = case["deviations"].iloc[0]
    words = deviation_words("" if missing(named) else str(named))
    return f"Deviations: {'; '.join(word[0].lower() + word[1:] for word in words)}." if words else "No deviation."


def _draw_case(axes, case: pd.DataFrame, deepest: float) -> None:
    n = len(case)
    first = case.iloc[0]
    low, high = float(first["rbh_min_mm"]), float(first["rbh_max_mm"])
    rungs = [float(rung) for rung in str(first["rungs_mm"]).split()] if not missing(first["rungs_mm"]) else []
    axes.set(xlim=(0.3, n + 0.7), ylim=(deepest, 0))
    axes.add_patch(Rectangle((0.3, 0), n + 0.4, low, facecolor=PALE, linewidth=0, zorder=0))
    axes.add_patch(
        Rectangle(
            (0.3, low),
            n + 0.4,
            high - low,
            facecolor="white",
            edgecolor=RULE,
            hatch="////",
            linewidth=0,
            zorder=0,
        )
    )
    for edge in (low, high):
        axes.axhline(edge, color=INK, linewidth=0.7, zorder=1)
    for rung in rungs:
        axes.axhline(rung, color=INK, linewidth=0.5, linestyle=(0, (1, 2.5)), zorder=1)
        axes.plot(
            [1.0, 1.012],
            [rung, rung],
            transform=axes.get_yaxis_transform(),
            color=INK,
            linewidth=1.4,
            clip_on=False,
        )
    _side_words(axes, [(low / 2, "bone"), ((low + high) / 2, "floor"), ((high + deepest) / 2, "sinus")], deepest)

    opened = False
    for step in _rows(case):
        x, depth, before = step.step_no, float(step.depth_mm), float(step.deepest_before_mm)
        if step.role == "gauge":
            axes.plot(x, depth, marker="o", color=INK, markerfacecolor="white", markersize=4.6, zorder=4)
        elif depth > before:
            axes.add_patch(Rectangle((x - 0.3, before), 0.6, depth - before, facecolor=DARK, linewidth=0, zorder=3))
        else:
            axes.plot([x - 0.3, x + 0.3], [depth, depth], color=DARK, linewidth=2.0, zorder=3)
        if step.finding == "open" and not opened:
            opened = True
            axes.annotate(
                "open",
                (x, depth),
                xytext=(0, -20),
                textcoords="offset points",
                ha="center",
                va="top",
                weight="bold",
                arrowprops={"arrowstyle": "-|>", "color": MID, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 3},
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                zorder=5,
            )
    for step in _rows(case):
        axes.annotate(
            pass_label(step),
            (step.step_no, 0),
            xytext=(0, 4),
            textcoords="offset points",
            rotation=90,
            ha="center",
            va="bottom",
            size=SMALL_PT,
            annotation_clip=False,
        )
    axes.axhline(0, color=INK, linewidth=1.4, zorder=6, clip_on=False)
    axes.spines["bottom"].set_visible(False)
    axes.tick_params(axis="x", length=0)
    axes.xaxis.set_major_locator(MultipleLocator(1) if n <= 30 else MaxNLocator(12, integer=True))
    axes.yaxis.set_major_locator(MultipleLocator(1 if deepest <= 14 else 2))
    axes.set_xlabel("Pass")
    axes.set_ylabel("Depth below the crest, mm")


def _side_words(axes, words: list[tuple[float, str]], deepest: float) -> None:
    """What each zone is, beside it; pushed apart where zones are thin."""
    placed = -np.inf
    for depth, word in words:
        placed = max(depth, placed + 0.055 * deepest)
        name_beside(axes, placed, word)


def _case_told(case: pd.DataFrame) -> str:
    first = case.iloc[0]
    drills = case[~case["role"].eq("gauge")]
    told = [
        f"Case {int(first['case'])} ({first['site_label']}, {first['approach']}): sinus floor between "
        f"{first['rbh_min_mm']:g} and {first['rbh_max_mm']:g} mm below the crest"
    ]
    if not missing(first["rungs_mm"]):
        told.append(f"planned rungs {listed(str(first['rungs_mm']).split())} mm")
    if len(drills):
        told.append(f"drill passes reached {listed([f'{depth:g}' for depth in drills['depth_mm']])} mm")
    n_gauges = len(case) - len(drills)
    told.append(counted(n_gauges, "gauge pass", "gauge passes"))
    opened = case[case["finding"].eq("open")]
    told.append(
        f"first found open at pass {int(opened['step_no'].iloc[0])}, {opened['depth_mm'].iloc[0]:g} mm"
        if len(opened)
        else "never found open"
    )
    return "; ".join(told) + f". {_deviations_told(case)}"
