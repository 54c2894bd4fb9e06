"""A study's files read once: the bytes that a run names by their hash are the bytes that it read.

While `reading_once` is open, a file's bytes are taken from the disk at the first call of `content` alone, whatever
becomes of the file meanwhile, and every table that stands in it is read from them.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import BinaryIO

AT_ONCE = 2**20  # bytes that are hashed at a time

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
        The file cannot be opened or read, or is a pipe or a device, which may never end.
    """
    kept = _kept.get()
    path = Path(path).absolute()
    if kept is not None and path in kept:
        return kept[path][: most + 1]
    with _opened(path) as file:
        data = file.read(most + 1)
    if kept is not None and len(data) <= most:
        kept[path] = data
    return data


def sha256(path: Path) -> str:
    """Of the bytes that a file had when it was opened: one that grows all the time comes to an end too.

    Raises
    ------
    OSError
        As `content`.
    """
    digest = hashlib.sha256()
    with _opened(path) as file:
        left = os.fstat(file.fileno()).st_size
        while left > 0 and (part := file.read(min(left, AT_ONCE))):
            digest.update(part)
            left -= len(part)
    return digest.hexdigest()


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    """A file on a disk, open for reading; nothing is waited for."""
    with open(str(path), "rb", opener=_without_waiting) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(errno.EINVAL, "a pipe or a device", str(path))
        yield file


def _without_waiting(path: str, flags: int) -> int:
    try:
        return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
    except BlockingIOError:  # lent to another machine that may write to it, as file servers do: given back at once
        if not stat.S_ISREG(os.stat(path).st_mode):
            raise
        return os.open(path, flags)
