"""A study's files read once: the bytes that a run names by their hash are the bytes that it read.

While `reading_once` is open, a file's bytes are taken from the disk at the first call of `content` alone, whatever
becomes of the file meanwhile, and every table that stands in it is read from them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

_kept: ContextVar[dict[Path, bytes] | None] = ContextVar("kept", default=None)


class BytesRead:
    """What was read while `reading_once` was open."""

    def __init__(self) -> None:
        self.kept: dict[Path, bytes] = {}

    def hashes(self) -> dict[Path, str]:
        """SHA-256 of each file that was read."""
        return {path: hashlib.sha256(data).hexdigest() for path, data in self.kept.items()}


@contextmanager
def reading_once() -> Iterator[BytesRead]:
    """Keeps the bytes of every file that `content` is asked for until the block ends."""
    read = BytesRead()
    token = _kept.set(read.kept)
    try:
        yield read
    finally:
        _kept.reset(token)


def content(path: Path, most: int) -> bytes:
    """The bytes of a file; of one that holds more than `most`, no more than that and one.

    Raises
    ------
    OSError
        The file cannot be opened or read.
    """
    kept = _kept.get()
    path = Path(path).absolute()
    if kept is not None and path in kept:
        return kept[path][: most + 1]
    with path.open("rb") as file:
        data = file.read(most + 1)
    if kept is not None and len(data) <= most:
        kept[path] = data
    return data


def sha256(path: Path) -> str:
    """Of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
