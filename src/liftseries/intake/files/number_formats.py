"""What a number format of a workbook makes people see in the place of the number that a cell holds.

Source: ECMA-376-1, 18.8.31 (numFmts), the parts of a format code.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

LONGEST_CODE = 255  # characters that a spreadsheet program takes
PIECES = re.compile(r'"([^"]*)"|\\(.)|_.|\*.|\[[^\]]*\]|([^"\\_*\[]+)|.')
OUTSIDE_QUOTES = re.compile(r';(?=(?:[^"]*"[^"]*")*[^"]*$)')


@dataclass(frozen=True)
class Shown:
    """How one section of a format shows a number."""

    decimals: int | None = None  # that it is rounded to; None where all are shown
    before: str = ""  # a text put around the number
    behind: str = ""
    is_disguise: bool = False  # a percentage, thousands, or no number at all
    loses_more: bool = False  # a fraction, a condition, a sign that is not shown


PLAIN = Shown()


def seen(number: float, code: str) -> Shown:
    """How the number is shown under the format code."""
    sections = _sections(code)
    if len(sections) == 1 or number > 0:
        at = 0
    elif number < 0:
        at = 1
    else:
        at = 2 if len(sections) > 2 else 0
    return sections[at]


def hides_decimals(number: float, shown: Shown) -> bool:
    return shown.loses_more or (shown.decimals is not None and round(number, shown.decimals) != number)


@cache
def _sections(code: str) -> tuple[Shown, ...]:
    if code in ("General", "@", ""):
        return (PLAIN,)
    if len(code) > LONGEST_CODE:
        return (Shown(is_disguise=True),)
    if re.search(r"\[[<>=]", code):
        return (Shown(loses_more=True),)
    parts = OUTSIDE_QUOTES.split(code)
    return tuple(_section(part, at) for at, part in enumerate(parts[:3]))


def _section(part: str, at: int) -> Shown:
    before, pattern, behind, signs = "", "", "", ""
    for literal, escaped, bare in PIECES.findall(part):
        text = literal or escaped
        if bare:
            pattern += bare
        if pattern and re.search(r"[0#?]|General", pattern):
            behind += text
        else:
            before += text
        signs += text + bare
    if not re.search(r"[0#?]|General", pattern) or "%" in pattern or re.search(r"[0#?],+(?![0#?,])", pattern):
        return Shown(is_disguise=True)
    loses_sign = at == 1 and not re.search(r"[-(−]", signs)
    loses_more = loses_sign or "/" in pattern
    fraction = re.search(r"\.([0#?]*)", pattern)
    shows_all = "General" in pattern or re.search(r"[Ee][+-]", pattern)
    decimals = None if shows_all else len(fraction[1]) if fraction else 0
    worded = any(character.isalpha() for character in before + behind)
    return Shown(decimals, before if worded else "", behind if worded else "", loses_more=loses_more)
