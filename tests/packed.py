"""All that lies in a folder, in one piece, so that a test can say what stands nowhere in it."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Collection
from pathlib import Path


def everything_in(folder: Path, but: Collection[Path] = ()) -> bytes:
    """All bytes of all files, their names, and what is packed in them: parts of DOCX and XLSX, streams of PDF.

    Parameters
    ----------
    folder
    but : files that are passed over
    """
    found = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file() or path in but:
            continue
        content = path.read_bytes()
        found += [str(path.relative_to(folder)).encode(), content]
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as parts:
                found += [part for name in parts.namelist() for part in (name.encode(), parts.read(name))]
        if path.suffix == ".pdf":
            for stream in re.findall(rb"stream\r?\n(.*?)endstream", content, re.S):
                unpacked = zlib.decompressobj()
                try:
                    found.append(unpacked.decompress(stream))
                except zlib.error:
                    continue
    return b"\n".join(found)


def named_in(everything: bytes, names: Collection[str]) -> list[str]:
    """Those of the names that stand in what a folder holds as words of their own."""
    held = [name for name in names if name.encode() in everything]
    return sorted(name for name in held if re.search(rf"(?<![\w.]){re.escape(name)}(?!\w)".encode(), everything))
