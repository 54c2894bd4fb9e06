"""A table as it is printed, and how an estimate becomes a cell: rounded, in words, traceable to results.csv."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from liftseries.base.remarks import names_in, remarks_in
from liftseries.models.shared.gates import LARGE_DESIGN_EFFECT
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import (
    NOT_ESTIMATED,
    WITHHELD,
    count,
    decimal,
    exponent,
    interval,
    missing,
    percent,
    ratio,
)
from liftseries.report.kit.words import Words

TRACE = "results.csv row"
NUMBER = re.compile(r"[−<>]?[\d.,]+%?|–|" + WITHHELD)
RATIO_SCALES = ("log_odds", "log_hazard", "log_time")
PERCENT_SCALES = ("risk", "probability")
NEVER_AN_INTERVAL = ("chi_squared", "share of the lost")
BOUNDS = {"one_sided_bound", "bound_without_failure"}  # remarks of rows of which one limit alone holds


@dataclass(frozen=True)
class Content:
    """What a table says, which its function makes; name and caption are declared.

    Attributes
    ----------
    columns : headings
    rows : texts, as many in each as there are headings; the first one names the row
    note : what stands below
    keys : a row -> the rows of results.csv behind it, `; ` between; empty where no row names any
    holds : further rows of results.csv that the table shows
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    keys: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()


@dataclass(frozen=True)
class Display:
    """A table as it is printed: its content, the name of its files, its caption, and its label where it has one."""

    name: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    keys: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()
    label: str = ""

    def is_numeric(self, column: int) -> bool:
        """Whether the cells below a heading are single numbers, to be set flush right."""
        cells = [row[column] for row in self.rows if row[column]]
        return column > 0 and bool(cells) and all(NUMBER.fullmatch(cell) for cell in cells)


def written(scale: str) -> Callable[[float], str]:
    if scale in RATIO_SCALES:
        return lambda value: ratio(exponent(value))
    return percent if scale in (*PERCENT_SCALES, "share of the lost") else decimal


def estimate(row) -> str:
    """The estimate with its interval; its problem in words where there is none."""
    if missing(row["estimate"]):
        if row["problem"] == WITHHELD:
            return WITHHELD if missing(row["conf_high"]) else f"at most {written(str(row['scale']))(row['conf_high'])}"
        problem = "" if missing(row["problem"]) else Words().problem(row["problem"])
        return f"{NOT_ESTIMATED}: {problem}" if problem else NOT_ESTIMATED
    write = written(str(row["scale"]))
    if not missing(row["conf_low"]) and not missing(row["note"]) and names_in(row["note"]) & BOUNDS:
        above = row["conf_low"] < row["estimate"]
        return f"at least {write(row['conf_low'])}" if above else f"at most {write(row['conf_high'])}"
    if by := rounded_by(row):
        return f"{write(row['estimate']) if row['scale'] in PERCENT_SCALES else format(row['estimate'], 'g')}{by}"
    text = interval(row["estimate"], row["conf_low"], row["conf_high"], write)
    return f"{text}, no interval" if missing(row["conf_low"]) and row["scale"] not in NEVER_AN_INTERVAL else text


def rounded_by(row) -> str:
    """` (rounded, ± 2.5 points)`, of a share or of months told roundly; "" of any other estimate."""
    for one in remarks_in(None if missing(row["note"]) else row["note"]):
        if one.name == "rounded_share":
            points = one.holes["points"]
            return f" (rounded, ± {points:g} {'point' if points == 1 else 'points'})"
        if one.name == "rounded_months":
            return f" (rounded, ± {one.holes['months']:g})"
    return ""


def numbers(row, events: bool = False) -> tuple[str, ...]:
    numbers = (count(row["n_sites"]), count(row["n_patients"]))
    return (*numbers, count(row["n_events"])) if events else numbers


def design_effect(material: Material, row) -> str:
    """How many times its variance is that of independent sites; empty where it was not worked out."""
    place = (row["analysis"], row["subset"], row["term"])
    effect, note = material.design_effect(*place, "" if missing(row["method"]) else row["method"])
    if missing(effect):
        effect, note = material.design_effect(*place)
    if "rounded_effect" in names_in(note):
        limit = f"{LARGE_DESIGN_EFFECT:g}"
        return f"below {limit}" if effect < LARGE_DESIGN_EFFECT else f"{limit} or more"
    return decimal(effect)


def content_of(
    columns: Sequence[str], rows: Iterable[Sequence[str]], note: str = "", holds: Iterable[str] = ()
) -> Content | None:
    """The content of a table; None where it has no rows.

    Where the last heading is `TRACE`, the last cell of each row is its key, which only files and screens show.
    """
    rows, columns = tuple(tuple(row) for row in rows), tuple(columns)
    if not rows:
        return None
    if columns[-1] != TRACE:
        return Content(columns, rows, note, holds=tuple(holds))
    return Content(columns[:-1], tuple(row[:-1] for row in rows), note, tuple(row[-1] for row in rows), tuple(holds))


def traced(table: Display | Content) -> set[str]:
    """The rows of results.csv that a table shows."""
    return {*table.holds, *(key for keys in table.keys for key in keys.split("; ") if key)}
