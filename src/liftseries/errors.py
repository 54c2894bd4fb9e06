"""Everything a user can be told: where it is, what it is, what to do.

A `StudyError` is the user's to mend and is shown as its lines, without a traceback; a `UsageError` says
that a command was used wrongly. Anything else keeps its traceback, because the fault is ours.
A text cell is never quoted, since someone may have typed a name; numbers and keys may be.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One line for the user: `place: message`."""

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"


class StudyError(Exception):
    """The study has problems; all that were found in one pass."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = list(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class UsageError(Exception):
    """The command was used wrongly."""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """` Did you mean "rbh_bands_mm"?`, or nothing where no known name is near."""
    near = difflib.get_close_matches(name.strip().lower(), list(known), n=1, cutoff=0.5)
    return f' Did you mean "{near[0]}"?' if near else ""
