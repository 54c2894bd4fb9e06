"""Texts and headers searched for identifiers, by the patterns."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.patterns import PATTERNS, Pattern
from liftseries.intake.identifiers.words import HEADERS

CODE = re.compile(r"[A-Za-z0-9_-]*")
# UUIDs, hexadecimal digests and our own pseudonyms: codes by construction, so not looked at.
MADE_CODE = re.compile(r"[0-9a-f]{32,}|[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|[a-z]-[a-z2-7]{16}", re.I)
SHORTEST_MADE = 18
TO_SHAPE = str.maketrans("123456789", "000000000")


def kinds_of(texts: Sequence[str], role: Role) -> dict[str, Kind]:
    """The texts that look like an identifier, and the kind.

    Parameters
    ----------
    texts : different texts of one column, without blanks around them
    role
        What the column is for.
    """
    if not texts:
        return {}
    by_shape: dict[str, list[str]] = {}
    for text in texts:
        if len(text) < SHORTEST_MADE or not MADE_CODE.fullmatch(text):
            by_shape.setdefault(text.translate(TO_SHAPE), []).append(text)
    shapes = {
        True: [shape for shape in by_shape if CODE.fullmatch(shape)],
        False: [shape for shape in by_shape if not CODE.fullmatch(shape)],
    }
    found: dict[str, Kind] = {}
    for pattern in PATTERNS:
        if role not in pattern.roles:
            continue
        for are_codes in (True, False) if pattern.in_codes else (False,):
            alike = [text for shape in shapes[are_codes] if pattern.regex.search(shape) for text in by_shape[shape]]
            hits = [text for text in alike if _holds(pattern, text)]
            if hits and (pattern.from_texts == 0 or (pattern.from_texts <= len(hits) == len(alike))):
                for text in hits:
                    found.setdefault(text, pattern.kind)
    return found


def kind_of_header(name: str) -> Kind | None:
    """The kind of identifier that a column of this name would hold, None where it says nothing of the sort.

    Letter case, accents and what stands between the words do not matter: `DateOfBirth`, `date_of_birth`.
    """
    spaced = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", name)
    plain = unicodedata.normalize("NFKD", spaced.casefold())
    words = " ".join(re.findall(r"[a-z0-9]+", "".join(letter for letter in plain if not unicodedata.combining(letter))))
    letter = next((letter for letter, pattern in HEADERS if re.search(pattern, words)), None)
    return next((kind for kind in Kind if kind.letter == letter), None)


def _holds(pattern: Pattern, text: str) -> bool:
    if pattern.holds is None:
        return True
    return any(pattern.holds(match[0]) for match in pattern.regex.finditer(text))
