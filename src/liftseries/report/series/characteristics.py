"""Patients and sites by protocol: at most 25 rows for the report, all that was described for the supplement.

The report gives a measurement its mean and SD, or its median and quartiles where mean and median lie apart by more
than a quarter of the SD, the same in all groups; a label with two levels one row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, count, decimal, is_withheld, missing, percent
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import BANDS, Words
from liftseries.report.languages.say import say
from liftseries.report.series.declarations import PARTS
from liftseries.report.series.tables import MOST_GROUPS

ALL, UNITS = "all", {"patient": "Patients", "site": "Sites"}
MOST_ROWS = 25
SKEWED = 0.25  # of an SD between mean and median
EVERY = ()
# Column -> the levels shown, all that occur where none is named; what comes first goes last where rows are too many.
IN_SHORT = {
    "patient": {
        "age_years": EVERY,
        "sex": ("female",),
        "smoking": ("former", "current"),
        "diabetes": ("yes",),
        "periodontitis": ("yes",),
    },
    "site": {
        "approach": ("guided",),
        "rbh_mid_mm": EVERY,
        "rbh_band": EVERY,
        "floor_slope_deg": EVERY,
        "septum": ("yes",),
        "protrusion_mm": EVERY,
        "lift_method": EVERY,
        "graft": ("none",),
        "implant_length_mm": EVERY,
        "implant_diameter_mm": EVERY,
        "placement": ("staged",),
        "healing": ("submerged",),
        "bone_quality": ("4",),
    },
}
FIRST_TO_GO = ("bone_quality", "implant_diameter_mm", "healing", "placement", "rbh_band", "lift_method")
OF_IMPLANTS = ("healing",)  # empty where no implant was placed
Row = tuple[str, ...]
Beside = Callable[[str, str, str], Row]


@dataclass(frozen=True)
class Described:
    """The table `characteristics` of a series, cell by cell."""

    table: pd.DataFrame
    words: Words

    @cached_property
    def groups(self) -> list[str]:
        """The subsets beside all."""
        return [subset for subset in dict.fromkeys(self.table["subset"]) if subset != ALL]

    @cached_property
    def cells(self) -> dict:
        """Unit, column, level and subset -> row."""
        return {(r.unit, r.column, r.level, r.subset): r for r in self.table.itertuples(index=False)}

    def columns(self, unit: str) -> list[str]:
        """What was described of patients or of sites."""
        return list(dict.fromkeys(self.table.loc[self.table["unit"].eq(unit), "column"]))

    def levels(self, unit: str, column: str) -> list[str]:
        """The levels of a column; `[""]` of a number."""
        of_column = self.table["unit"].eq(unit) & self.table["column"].eq(column)
        return list(dict.fromkeys(self.table.loc[of_column, "level"]))

    def across(self, unit: str, column: str, level: str, subsets: Sequence[str]) -> list:
        """The row of each subset, None where there is none."""
        return [self.cells.get((unit, column, level, subset)) for subset in subsets]

    def occurring(self, unit: str, column: str) -> list[str]:
        """The levels that occur anywhere."""
        levels = self.levels(unit, column)
        return [
            level for level in levels if any(c is not None and c.n for c in self.across(unit, column, level, self.all))
        ]

    @property
    def all(self) -> list[str]:
        """All, and the groups."""
        return [ALL, *self.groups]

    def heads(self, subsets: Sequence[str]) -> list[str]:
        """The headings of subsets."""
        return ["All" if subset == ALL else self.words.subset(subset) for subset in subsets]

    def name(self, column: str) -> str:
        """A column with its unit."""
        unit = self.words.unit(column)
        return self.words.column(column) + (f", {unit}" if unit else "")

    def counts(self, unit: str, subsets: Sequence[str]) -> Row:
        """How many patients, or sites, stand in each subset."""
        found = self.table[self.table["unit"].eq(unit)].drop_duplicates(["subset"]).set_index("subset")
        return tuple(
            _sum(found.loc[s, "n_known"], found.loc[s, "n_missing"]) if s in found.index else "" for s in subsets
        )


def described(material: Material, words: Words) -> Described | None:
    """What was described; None where nothing was."""
    table = material.table("characteristics")
    if table.empty:
        return None
    return Described(table.assign(level=table["level"].fillna("").astype(str)), words)


def characteristics_table(material: Material, words: Words) -> Content | None:
    """The characteristics in short: at most 25 rows, all and up to six groups; more groups only all."""
    of = described(material, words)
    if of is None:
        return None
    shown = len(of.groups) > 1 and len(of.groups) <= MOST_GROUPS
    subsets = of.all if shown else [ALL]
    note = say("series.characteristics_note")
    note += say("series.in_two_groups") if shown else ""
    note += say("series.too_many_groups") if len(of.groups) > MOST_GROUPS else ""
    return content_of(("", *of.heads(subsets)), list(in_short(of, subsets)), note)


def in_short(of: Described, subsets: Sequence[str], beside: Beside = lambda unit, column, level: ()) -> Iterable[Row]:
    """At most 25 rows of these subsets, and after them what `beside` says of a unit, a column and a level."""
    blocks = {
        (unit, column): list(_short_rows(of, unit, column, levels, subsets, beside))
        for unit, columns in IN_SHORT.items()
        for column, levels in columns.items()
        if column in of.columns(unit)
    }
    n_rows = sum(map(len, blocks.values())) + len({unit for unit, _ in blocks})
    for column in FIRST_TO_GO:
        if n_rows > MOST_ROWS:
            n_rows -= len(blocks.pop(("site", column), ()))
    for unit in dict.fromkeys(unit for unit, _ in blocks):
        yield (UNITS[unit], *of.counts(unit, subsets), *beside(unit, "", ""))
        for (block_unit, _), rows in blocks.items():
            yield from rows if block_unit == unit else ()


def _short_rows(
    of: Described, unit: str, column: str, levels: Sequence[str], subsets: Sequence[str], beside: Beside
) -> Iterable[Row]:
    found = of.levels(unit, column)
    gap = _gap(of, unit, column)
    if found == [""]:
        cells = of.across(unit, column, "", subsets)
        if cells[0] is None or (not is_withheld(cells[0].n_known) and not cells[0].n_known):
            return
        digits, more = _digits(of, column), beside(unit, column, "")
        if _is_skewed(cells[0]):
            yield (f"   {of.name(column)}, median [quartiles]{gap}", *(_median(cell, digits) for cell in cells), *more)
        else:
            yield (f"   {of.name(column)}{gap}", *(_mean(cell, digits) for cell in cells), *more)
        return
    for k, level in enumerate(level for level in levels or of.occurring(unit, column) if level in found):
        label = _level_named(of, column, level)
        shares = (_share(c) for c in of.across(unit, column, level, subsets))
        yield (f"   {label}{gap if not k else ''}", *shares, *beside(unit, column, level))


def _level_named(of: Described, column: str, level: str) -> str:
    """`Diabetes`; `Smoking: former`; `Residual height <4 mm`."""
    if column in BANDS:
        return f"{BANDS[column]} {level} mm"
    return of.words.column(column) if level == "yes" else f"{of.words.column(column)}: {level.replace('_', ' ')}"


def _gap(of: Described, unit: str, column: str) -> str:
    """How many are empty or unknown of all, in brackets; sites without an implant said apart."""
    cell = next((c for level in of.levels(unit, column) if (c := of.cells.get((unit, column, level, ALL)))), None)
    if cell is None or not cell.n_missing:
        return ""
    placed = of.cells.get((unit, "placement", "none", ALL)) if column in OF_IMPLANTS else None
    told, rest = [], cell.n_missing
    if placed is not None and not is_withheld(placed.n) and not is_withheld(rest) and 0 < placed.n <= rest:
        told.append(say("series.without_implant", n=count(placed.n)))
        rest -= placed.n
    told += [say("series.unknown", n=count(rest))] if rest else []
    return f" ({', '.join(told)})"


def full_table(material: Material, words: Words, unit: str, part: int) -> Content | None:
    """All that was described of patients or sites; `part` 0 has all and the first six groups, 1 the next six …"""
    of = described(material, words)
    if of is None:
        return None
    groups = of.groups if len(of.groups) > 1 else []
    here = groups[part * MOST_GROUPS : (part + 1) * MOST_GROUPS]
    if (part and not here) or not of.columns(unit):
        return None
    subsets = [ALL, *here]
    rows = [(UNITS[unit], *of.counts(unit, subsets))]
    for column in of.columns(unit):
        rows += _full_rows(of, unit, column, subsets)
    n_hidden = len(groups) - (part + 1) * MOST_GROUPS if part == PARTS - 1 else 0
    note = say("series.characteristics_full_note") + (say("series.in_two_groups") if here and unit == "patient" else "")
    note += say("series.groups_not_shown", groups=n_hidden) if n_hidden > 0 else ""
    return content_of(("", *of.heads(subsets)), rows, note)


def _full_rows(of: Described, unit: str, column: str, subsets: Sequence[str]) -> Iterable[Row]:
    levels = of.levels(unit, column)
    if levels == [""]:
        digits = _digits(of, column)
        cells = of.across(unit, column, "", subsets)
        yield (
            of.name(column),
            *("; ".join(dict.fromkeys(filter(None, (_mean(c, digits), _median(c, digits))))) for c in cells),
        )
    else:
        yield (of.name(column) + (", in bands" if column in BANDS else ""), *[""] * len(subsets))
        for level in of.occurring(unit, column):
            yield (f"   {level.replace('_', ' ')}", *(_share(c) for c in of.across(unit, column, level, subsets)))
    of_column = [of.across(unit, column, level, subsets) for level in levels]
    gaps = [next((row[k].n_missing for row in of_column if row[k] is not None), None) for k in range(len(subsets))]
    if any(gaps):
        without = [getattr(cell, "n", 0) for cell in of.across(unit, "placement", "none", subsets)]
        yield ("   no implant" if column in OF_IMPLANTS and gaps == without else "   unknown", *map(count, gaps))


def _digits(of: Described, column: str) -> int:
    return 2 if of.words.unit(column) == "mm" else 1


def _is_skewed(cell) -> bool:
    if any(missing(value) for value in (cell.mean, cell.sd, cell.median)):
        return False
    return abs(cell.mean - cell.median) > SKEWED * cell.sd


def _mean(cell, digits: int) -> str:
    """`54.4 (10.2)`."""
    if cell is None or missing(cell.mean):
        return _unsaid(cell)
    return decimal(cell.mean, digits) + ("" if missing(cell.sd) else f" ({decimal(cell.sd, digits)})")


def _median(cell, digits: int) -> str:
    """`55.0 [48.0 to 61.0]`."""
    if cell is None or missing(cell.median):
        return _unsaid(cell)
    quartiles = "" if missing(cell.q1) else f" [{decimal(cell.q1, digits)} to {decimal(cell.q3, digits)}]"
    return decimal(cell.median, digits) + quartiles


def _unsaid(cell) -> str:
    """Why there is no number: nothing is known, or it may not be told."""
    return WITHHELD if cell is not None and cell.n_known else ""


def _share(cell) -> str:
    """`320 (49.5%)`."""
    if cell is None:
        return ""
    return count(cell.n) + (f" ({percent(cell.share)})" if not missing(cell.share) else "")


def _sum(known, gaps) -> str:
    """Known and not known together, as far as both may be told."""
    return WITHHELD if is_withheld(known) or is_withheld(gaps) else count(known + gaps)
