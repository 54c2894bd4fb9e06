"""Numbers with a unit in the cell: `5.2 mm` is read where mm are due, `0.5 cm` is refused, its mm told.

Sources of the factors: the SI brochure (BIPM, 9th edition, 2019); the inch of 25.4 mm (agreement of 1959) and the
kilogram-force of 9.80665 N (3rd General Conference on Weights and Measures, 1901). A year is 365.25 days, a month
a twelfth of it (common practice, no source).
"""

from __future__ import annotations

import re
import unicodedata

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import NUMBER, UNCLEAR_MARK, in_plain_signs, number_in, unclear_thousands
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.schema import Column

WITH_UNIT = re.compile(rf"({NUMBER.pattern})\s*([^\s0-9.,+-].*)", re.DOTALL)
MONTH_DAYS = 365.25 / 12
# Unit of a column -> unit in a cell, folded as `_folded` does it -> how many of the column's it makes.
FACTORS: dict[str, dict[str, float]] = {
    "mm": {
        "millimeter": 1, "millimetre": 1, "millimeters": 1, "millimetres": 1,
        "cm": 10, "m": 1000, "μm": 0.001, "um": 0.001, "in": 25.4, "inch": 25.4, '"': 25.4,
    },
    "ml": {"cc": 1, "cm3": 1, "ccm": 1, "μl": 0.001, "ul": 0.001, "mm3": 0.001, "cl": 10, "dl": 100, "l": 1000},
    "N cm": {"nm": 100, "nmm": 0.1, "kgfcm": 9.80665, "kgcm": 9.80665},
    "rpm": {"/min": 1, "min-1": 1, "u/min": 1, "r/min": 1, "rps": 60, "/s": 60, "s-1": 60, "hz": 60},
    "months": {
        "month": 1, "mo": 1, "mos": 1, "years": 12, "year": 12, "y": 12, "yr": 12, "yrs": 12,
        "weeks": 7 / MONTH_DAYS, "week": 7 / MONTH_DAYS, "wk": 7 / MONTH_DAYS,
        "days": 1 / MONTH_DAYS, "day": 1 / MONTH_DAYS, "d": 1 / MONTH_DAYS,
    },
    "years": {"year": 1, "y": 1, "yr": 1, "yrs": 1, "months": 1 / 12, "month": 1 / 12, "mo": 1 / 12},
}  # fmt: skip
FIGURES = 4  # of a proposed number


def with_unit(text: str, column: Column) -> Taken | Fault | None:
    """The number before the column's own unit, a refusal of another unit, or None where there is no unit that we know.

    Parameters
    ----------
    text
        What the cell holds.
    column
        Its unit is the one that is due.
    """
    parts = WITH_UNIT.fullmatch(in_plain_signs(text))
    if not (parts and column.unit):
        return None
    number, unit = number_in(parts[1]), _folded(parts[2])
    factor = _factors(column.unit).get(unit)
    if factor is None:
        return None
    if factor == 1:
        if unclear_thousands([parts[1]], column):
            return UNCLEAR_MARK
        return Taken(number, "a number with its unit", f"{plain(number)} {column.unit}", "unit_is_the_columns")
    proposed = plain(float(f"{number * factor:.{FIGURES}g}"))
    message = f"a number in {unit} where {column.unit} are due; it would be {proposed} {column.unit}."
    return Fault("unit_is_the_columns", f"{message} Enter that, without a unit, if it is what was measured.")


def factor_of(column: Column, unit: str) -> float | None:
    """How many of the column's unit one of another unit makes; None where we know no such unit for it."""
    return _factors(column.unit).get(_folded(unit)) if column.unit else None


def units_known(column: Column) -> list[str]:
    """The units that numbers of a column may be in."""
    return [column.unit, *FACTORS.get(column.unit, {})]


def _factors(unit: str) -> dict[str, float]:
    return {_folded(unit): 1, **FACTORS.get(unit, {})}


def _folded(unit: str) -> str:
    """Without blanks, dots and letter case; ³ is 3, the micro sign the Greek letter."""
    folded = unicodedata.normalize("NFKC", unit).casefold()
    return re.sub(r"[\s.·⋅*^]", "", folded)
