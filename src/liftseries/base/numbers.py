"""A number as text."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

LARGEST_EXACT = 2**53  # whole numbers up to here survive as floating point


def plain(number: float) -> str:
    """A number as people write it: 16, not 16.0."""
    number = float(number)
    return str(int(number)) if number.is_integer() and abs(number) <= LARGEST_EXACT else repr(number)


def counted(n: int, word: str, words: str = "") -> str:
    """`1 site`, `2 sites`; `words` where the plural takes more than an s."""
    return f"{n} {word if n == 1 else words or f'{word}s'}"


def band_labels(cuts_mm: Sequence[float]) -> list[str]:
    """Names of the bands: `<4`, `4 to <6`, `≥6`."""
    between = [f"{low:g} to <{high:g}" for low, high in pairwise(cuts_mm)]
    return [f"<{cuts_mm[0]:g}", *between, f"≥{cuts_mm[-1]:g}"]
