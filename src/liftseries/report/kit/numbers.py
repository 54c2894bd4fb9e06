"""How a number is written for reading: decimals, percent, p-values, intervals.

Only the writing; results.csv keeps every number in full. A value that would round to nothing or to all is
written as `<0.1%` or `>99.9%`, never as the round number that it is not.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextvars import ContextVar

import pandas as pd

from liftseries.base.remarks import WITHHELD, WITHHELD_COUNT

MINUS = "−"
NOT_ESTIMATED = "not estimated"
LEAVES: ContextVar[bool] = ContextVar("leaves", default=False)  # whether what is written leaves the house
FEW_SITES = 200  # below so many a share that leaves is a whole per cent


def missing(value) -> bool:
    """Whether there is no number."""
    return value is None or bool(pd.isna(value))


def is_withheld(value) -> bool:
    """Whether a count is one that may not be shown."""
    return not missing(value) and value < 0


def few_of(smallest_cell: int) -> int:
    """What stands for a count of 1 to `smallest_cell` - 1: told as few, and no more."""
    return -smallest_cell


def is_few(value) -> bool:
    """Whether a count is told as few, and no more."""
    return not missing(value) and value < WITHHELD_COUNT


def count(value) -> str:
    """A whole number; empty where there is none; `<5` where it is told as few."""
    if is_few(value):
        return f"<{-int(value)}"
    if is_withheld(value):
        return WITHHELD
    return "" if missing(value) else f"{int(value)}"


def short_count(value) -> str:
    """The same where there is no room for a word: a dash for a count withheld."""
    return "–" if value == WITHHELD_COUNT else count(value)


def decimal(value: float, digits: int = 2) -> str:
    """A number with that many decimals and a true minus sign; never "−0.00"."""
    if missing(value):
        return ""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        return text.lstrip("-")
    return text.replace("-", MINUS)


def ratio(value: float) -> str:
    """An odds or hazard ratio: two decimals, `<0.01` below and none above 100."""
    if missing(value):
        return ""
    if value < 0.01:
        return "<0.01"
    if value > 9999:
        return ">9999"
    return decimal(value, 2 if value < 100 else 0)


def percent(share: float) -> str:
    """A share as percent, one decimal; none where it leaves the house as a whole per cent."""
    if missing(share):
        return ""
    if LEAVES.get() and 0 < share < 1 and abs(100 * share - round(100 * share)) < 1e-9:
        return f"{100 * share:.0f}%"
    text = f"{100 * share:.1f}"
    if text == "0.0" and share > 0:
        return "<0.1%"
    if text == "100.0" and share < 1:
        return ">99.9%"
    return f"{text}%"


def p_value(p: float) -> str:
    """Three decimals, `<0.001` below them."""
    if missing(p):
        return ""
    if p < 0.001:
        return "<0.001" if p else "<0.01"
    if abs(100 * p - round(100 * p)) < 1e-9:  # so it leaves the house
        return f"{p:.2f}"
    return ">0.999" if p > 0.9995 else f"{p:.3f}"


def exponent(value: float) -> float:
    """exp(), for showing log odds and log hazards as ratios; infinity where it is too large to hold."""
    try:
        return math.exp(value)
    except OverflowError:
        return math.inf


def interval(estimate, low, high, written: Callable[[float], str] = decimal) -> str:
    """`1.23 (0.98 to 1.55)`; the estimate alone where it has no interval."""
    if missing(estimate):
        return ""
    if missing(low) or missing(high):
        return written(estimate)
    if written is decimal:
        digits = digits_for(high - low)
        return f"{decimal(estimate, digits)} ({decimal(low, digits)} to {decimal(high, digits)})"
    return f"{written(estimate)} ({written(low)} to {written(high)})"


def digits_for(width: float) -> int:
    """Decimals that still tell the ends of an interval apart: two, more where it is narrower than 0.05.

    What leaves the house has two.
    """
    if LEAVES.get() or not 0 < width < math.inf:
        return 2
    return min(max(2, 1 - math.floor(math.log10(width / 0.5))), 6)


def share_of(n, total) -> str:
    """`12 of 340 (3.5%)`."""
    if missing(n) or missing(total):
        return ""
    if is_withheld(n) or is_withheld(total):
        return out_of(n, total)
    share = int(n) / int(total) if int(total) else math.nan
    share = round(share, 2) if LEAVES.get() and int(total) < FEW_SITES and 0.005 <= share < 0.995 else share
    return out_of(n, total) + (f" ({percent(share)})" if int(total) else "")


def out_of(n, total) -> str:
    """`12 of 340`, `<5 of 340`; `withheld` where neither is told at all."""
    return WITHHELD if count(n) == count(total) == WITHHELD else f"{count(n)} of {count(total)}"


def counted(n, one: str, many: str | None = None) -> str:
    """`1 site`, `2 sites`; `a withheld number of sites`."""
    if is_few(n):
        return f"fewer than {-int(n)} {many or one + 's'}"
    if is_withheld(n):
        return f"a {WITHHELD} number of {many or one + 's'}"
    return f"{count(n)} {one if int(n) == 1 else many or one + 's'}"


def listed(words: list[str]) -> str:
    """`a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def people(row: pd.Series) -> str:
    """`3 patients, 5 sites`, as far as they were counted; `none` where there are none."""
    counts = (("n_patients", "patient"), ("n_sites", "site"))
    if not any(int(row[name]) for name, _ in counts if not missing(row[name])):
        return "none"
    return ", ".join(counted(row[name], word) for name, word in counts if not missing(row[name]))
