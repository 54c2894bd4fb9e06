"""Names of people's choosing as names of files and folders."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable

SAFE = re.compile(r"[A-Za-z0-9_-]{1,40}")
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)  # no file may have such a name on Windows


def safe_names(names: Iterable[str]) -> dict[str, str]:
    """Name -> the same for a file, whatever it holds; no two alike, also where capitals count for nothing."""
    names = list(dict.fromkeys(map(str, names)))
    safe = {name: safe_name(name) for name in names}
    folded = [one.casefold() for one in safe.values()]
    return {name: one if folded.count(one.casefold()) == 1 else _hashed(name) for name, one in safe.items()}


def safe_name(name: str) -> str:
    """A name that any disk takes: itself where it is short and plain, else its plain letters and part of its hash."""
    return name if SAFE.fullmatch(name) and not RESERVED.fullmatch(name) else _hashed(name)


def _hashed(name: str) -> str:
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-")[:30]
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{plain}-{digest}" if plain else digest
