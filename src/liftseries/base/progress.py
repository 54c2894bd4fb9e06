"""What standard error says while a command works: the step it is in after two seconds, a bar where somebody watches."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

WIDTH = 30
PATIENCE_S = 2.0  # a command that ends sooner says nothing of its steps


class Bar:
    """Call it with how much is done and how much there is; use it as a context so that its line is cleared."""

    def __init__(self, what: str, stream=None, quiet: bool = False):
        self.what, self.stream, self.quiet = what, stream or sys.stderr, quiet
        self.shown = ""

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_) -> None:
        if self.shown:
            self.stream.write("\r" + " " * len(self.shown) + "\r")
            self.stream.flush()

    def __call__(self, done: int, planned: int) -> None:
        if self.quiet or not self.stream.isatty():
            return
        share = min(done / planned, 1.0) if planned else 0.0
        words = f"{self.what} [{'=' * int(share * WIDTH):<{WIDTH}}] {share:4.0%}"
        if words != self.shown:
            self.stream.write("\r" + words)
            self.stream.flush()
            self.shown = words


class Steps:
    """The step that a command is in: told once the command has taken longer than `PATIENCE_S`, then at each change."""

    def __init__(self) -> None:
        self.now, self.is_late, self.lock = "", False, threading.Lock()

    def start(self, what: str) -> None:
        """Names the step that begins."""
        with self.lock:
            self.now = what
            if self.is_late:
                self._tell()

    def be_late(self) -> None:
        """Tells the step from here on."""
        with self.lock:
            self.is_late = True
            if self.now:
                self._tell()

    def _tell(self) -> None:
        print(f"{self.now} …", file=sys.stderr, flush=True)


_steps: list[Steps] = []  # of the command that runs; none in tests of rooms and in the jobs of a run


def now() -> str:
    """The step that the command is in; nothing where it has named none."""
    return _steps[-1].now if _steps else ""


def step(what: str) -> None:
    """Says what the work has come to, as `Hiding counts`; heard only within `telling_steps`."""
    if _steps:
        _steps[-1].start(what)


@contextmanager
def telling_steps(quiet: bool = False) -> Iterator[None]:
    """For the length of a command; says nothing where `quiet`."""
    steps = Steps()
    timer = threading.Timer(PATIENCE_S, steps.be_late)
    timer.daemon = True
    _steps.append(steps)
    if not quiet:
        timer.start()
    try:
        yield
    finally:
        timer.cancel()
        _steps.remove(steps)
