"""What no text of a study may hold: characters that cannot be seen, and those that turn the direction of writing."""

from __future__ import annotations

import re

# Control characters but tab and line ends; half a pair of UTF-16; marks that turn the direction (Unicode Standard
# Annex 9, explicit formatting); what is no character. XML 1.0, 2.2 takes none of the first, second and last.
UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef"
    "\ufffe\uffff]"
)


def unseen_in(text: str) -> str:
    """The first such character as its number, `U+0007`; nothing where there is none."""
    found = UNSEEN.search(text)
    return f"U+{ord(found[0]):04X}" if found else ""
