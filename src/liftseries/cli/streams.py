"""Standard output and error of a command: a reader may close either before the end, as `check | head` does."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


class _MayClose:
    """A stream that forgets what nobody reads any more."""

    def __init__(self, stream):
        self._stream = stream

    def __getattr__(self, name: str):
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        self._kept(self._stream.write, text)
        return len(text)

    def flush(self) -> None:
        self._kept(self._stream.flush)

    def _kept(self, call, *words) -> None:
        try:
            call(*words)
        except BrokenPipeError:
            # What lies in its buffer would be tried again when the program ends.
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)


@contextmanager
def pipes_may_close() -> Iterator[None]:
    """Both streams, for the length of a command, written to the end before it ends."""
    own = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = map(_MayClose, own)
    try:
        yield
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        sys.stdout, sys.stderr = own
