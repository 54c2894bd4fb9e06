"""Pseudonyms: HMAC-SHA-256 of an identifier under a key (RFC 2104), of which 80 bits are written in base32.

What is hashed is `liftseries`, the kind and the identifier, so patient 12 and operator 12 have different pseudonyms.
"""

from __future__ import annotations

import base64
import hmac
import re
import unicodedata

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS

N_BYTES = 10  # 80 bits: among a million identifiers two share a pseudonym with a chance of 4e-13


def spelling(cell: object) -> str:
    """The one spelling under which an identifier is hashed, so that two files of one patient agree.

    Blanks around it go, several within become one, letter case and the way in which marks are stored do not matter; a
    number of a workbook is its digits. Leading zeros count: 007 and 7 are two.
    """
    text = cell if isinstance(cell, str) else plain(number_in(cell))
    text = re.sub(r"\s+", " ", unicodedata.normalize("NFC", text).strip(BLANKS))
    return unicodedata.normalize("NFC", text.casefold())


def digest(key: bytes, kind: str, text: str) -> bytes:
    """HMAC-SHA-256, whole."""
    return hmac.digest(key, b"\0".join([b"liftseries", kind.encode(), text.encode()]), "sha256")


def pseudonym(key: bytes, kind: str, cell: object) -> str:
    """`p-` and sixteen letters and digits; the first letter is that of the kind."""
    code = base64.b32encode(digest(key, kind, spelling(cell))[:N_BYTES]).decode().lower()
    return f"{kind[0]}-{code}"
