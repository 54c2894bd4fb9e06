"""Office files packed as zip, the same bytes at a rerun."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping

FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: a rerun gives the same bytes
CONTENT_TYPES = "[Content_Types].xml"


def packed(parts: Mapping[str, bytes], onto: bytes = b"") -> bytes:
    """The parts of an office file as one zip, each dated alike; behind those of a zip that is packed already."""
    to = io.BytesIO(onto)
    with zipfile.ZipFile(to, "a") as file:
        for name in sorted(parts, key=lambda name: (name != CONTENT_TYPES, name)):
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(entry, parts[name])
    return to.getvalue()


def undated(file: bytes) -> bytes:
    """An office file packed anew, the time of writing in its properties that of `FIXED_TIME`."""
    with zipfile.ZipFile(io.BytesIO(file)) as opened:
        parts = {name: opened.read(name) for name in opened.namelist()}
    core, date = "docProps/core.xml", b"%04d-%02d-%02dT00:00:00Z" % FIXED_TIME[:3]
    dates = rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(<)"
    parts[core] = re.sub(dates, lambda found: found[1] + date + found[2], parts[core])
    return packed(parts)
