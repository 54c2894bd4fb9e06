"""A number as text."""

from __future__ import annotations

LARGEST_EXACT = 2**53  # whole numbers up to here survive as floating point


def plain(number: float) -> str:
    """A number as people write it: 16, not 16.0."""
    number = float(number)
    return str(int(number)) if number.is_integer() and abs(number) <= LARGEST_EXACT else repr(number)


def counted(n: int, word: str, words: str = "") -> str:
    """`1 site`, `2 sites`; `words` where the plural takes more than an s."""
    return f"{n} {word if n == 1 else words or f'{word}s'}"
