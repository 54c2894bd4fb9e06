"""Pseudonyms: HMAC-SHA-256 of an identifier under a key (RFC 2104), of which 80 bits are written in base32.

What is hashed is `liftseries`, the kind, the scope and the identifier, so patient 12 and operator 12 have different
pseudonyms, and so have the patients 12 of two centres.
"""

from __future__ import annotations

import base64
import hmac
import re
import unicodedata

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS, is_blank

N_BYTES = 10  # 80 bits: among a million identifiers two share a pseudonym with a chance of 4e-13
# Kind -> the letter that its codes begin with.
LETTERS = {
    "patient": "p",
    "site": "s",
    "operator": "o",
    "centre": "c",
    "protocol": "t",
    "instrument": "i",
    "stop": "h",
    "action": "a",
}


def is_identifier(cell: object) -> bool:
    """A text or a number: what a pseudonym can be made of."""
    return not is_blank(cell) and (isinstance(cell, str) or number_in(cell) is not None)


def spelling(cell: object) -> str:
    """The one spelling under which an identifier is hashed, so that two files of one patient agree.

    Blanks around it go, several within become one, letter case and the way in which marks are stored do not matter; a
    number of a workbook is its digits. Leading zeros count: 007 and 7 are two.
    """
    text = cell if isinstance(cell, str) else plain(number_in(cell))
    text = re.sub(r"\s+", " ", unicodedata.normalize("NFC", text).strip(BLANKS))
    return unicodedata.normalize("NFC", text.casefold())


def digest(key: bytes, kind: str, text: str, scope: str = "") -> bytes:
    """HMAC-SHA-256, whole."""
    return hmac.digest(key, b"\0".join([b"liftseries", kind.encode(), scope.encode(), text.encode()]), "sha256")


def pseudonym(key: bytes, kind: str, cell: object, scope: str = "") -> str:
    """A letter for the kind, `-` and sixteen letters and digits.

    Parameters
    ----------
    key : 32 bytes
    kind : patient, site, operator, centre …, or a name of the user's
    cell : a text or number
    scope : within which the identifier is one person's
    """
    code = base64.b32encode(digest(key, kind, spelling(cell), scope)[:N_BYTES]).decode().lower()
    return f"{LETTERS.get(kind, 'x')}-{code}"
