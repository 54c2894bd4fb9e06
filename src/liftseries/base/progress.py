"""A bar on standard error that says how far a long computation is; silent where nobody watches."""

from __future__ import annotations

import sys

WIDTH = 30


class Bar:
    """Call it with how much is done and how much there is; use it as a context so that its line is cleared."""

    def __init__(self, what: str, stream=None):
        self.what, self.stream = what, stream or sys.stderr
        self.shown = ""

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_) -> None:
        if self.shown:
            self.stream.write("\r" + " " * len(self.shown) + "\r")
            self.stream.flush()

    def __call__(self, done: int, planned: int) -> None:
        if not self.stream.isatty():
            return
        share = min(done / planned, 1.0) if planned else 0.0
        words = f"{self.what} [{'=' * int(share * WIDTH):<{WIDTH}}] {share:4.0%}"
        if words != self.shown:
            self.stream.write("\r" + words)
            self.stream.flush()
            self.shown = words
