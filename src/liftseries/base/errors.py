"""Everything a user can be told: where it is, what it is, what to do.

A `StudyError` is the user's to mend and is shown as its lines, without a traceback; a `UsageError` says that a
command was used wrongly; a `MachineFault` is nobody's but the machine's. Anything else keeps its traceback, because the
fault is ours, but not the words of the error: they may quote a cell.
A text cell is never quoted, since someone may have typed a name; numbers and keys may be.
"""

from __future__ import annotations

import difflib
import errno
import os
import re
import sys
import traceback
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
    """The study has problems; all that were found in one pass.

    `screen` tells them by cause where they are many cells'; it is what a user sees then.
    """

    def __init__(self, problems: Iterable[Problem], screen: str = ""):
        self.problems, self.screen = list(problems), screen.rstrip()
        super().__init__(self.screen or "\n".join(str(problem) for problem in self.problems))


class UsageError(Exception):
    """The command was used wrongly."""


class Terminated(KeyboardInterrupt):
    """Somebody asked a run to end, by SIGTERM."""


class MachineFault(Exception):
    """The machine does not give what is needed: room on the disk, memory, leave to write."""


GO_ON = "Then run the same command again; it goes on from where it stopped."
MACHINE_FAULTS = {
    "disk_full": f"The disk is full. Make room on it. {GO_ON}",
    "not_writable": f"A file or folder cannot be written. See who may write there and on that disk. {GO_ON}",
    "no_temporary_folder": (
        f"There is no folder for temporary files that can be written. Set TMPDIR to one on a disk with room. {GO_ON}"
    ),
    "disk_damaged": "The disk does not give or take data. Save what is on it, and go on with another one.",
    "memory": f"There is not enough memory. Close other programs, or add `--cores 1` to a run. {GO_ON}",
    "killed": (
        "A job was ended from outside, most likely because memory ran out. Close other programs, or add `--cores 1` "
        f"to a run. {GO_ON}"
    ),
    "not_loaded": (
        "The libraries were not loaded within ten minutes, most likely because memory ran out. Close other programs. "
        f"{GO_ON}"
    ),
    "clock": f"The clock was set back while the run was on. {GO_ON}",
    "too_many_files": f"Too many files are open on this machine. Close other programs. {GO_ON}",
    "no_fonts": "The fonts of the figures are not there or are damaged. Install liftseries and its libraries again.",
}
OF_ERRNO = {
    errno.ENOSPC: "disk_full",
    errno.EDQUOT: "disk_full",
    errno.EFBIG: "disk_full",
    errno.EROFS: "not_writable",
    errno.EACCES: "not_writable",
    errno.EPERM: "not_writable",
    errno.EIO: "disk_damaged",
    errno.ENOMEM: "memory",
    errno.EAGAIN: "memory",  # of a fork: no more processes
    errno.EMFILE: "too_many_files",
    errno.ENFILE: "too_many_files",
}


def machine_fault(error: BaseException) -> MachineFault | None:
    """The machine's fault behind an error, with the file where there is one; None where the fault is another's."""
    seen = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        if isinstance(error, MachineFault):
            return error
        if isinstance(error, MemoryError | ImportError | RuntimeError) and (kind := _of_words(error)):
            return MachineFault(MACHINE_FAULTS[kind] + memory_taken(most_memory(), str(error)))
        if isinstance(error, FileNotFoundError) and "No usable temporary directory" in str(error):
            return MachineFault(MACHINE_FAULTS["no_temporary_folder"])
        if isinstance(error, OSError) and (kind := OF_ERRNO.get(error.errno)):
            place = f"{error.filename}: " if isinstance(error.filename, str) else ""
            return MachineFault(place + MACHINE_FAULTS[kind])
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    return None


ASKED = re.compile(r"Unable to allocate ([\d.]+ \w+)|(?:malloc|realloc) of size (\d+) failed")  # numpy, Arrow
OUT_OF_MEMORY = re.compile(r"cannot allocate memory|failed to map segment|can't start new thread", re.IGNORECASE)


def _of_words(error: BaseException) -> str | None:
    """Libraries tell of memory in several ways: a module that finds no room to be loaded, a thread without a stack."""
    return "memory" if isinstance(error, MemoryError) or OUT_OF_MEMORY.search(str(error)) else None


def memory_taken(taken: int | None, words: str = "") -> str:
    """How much memory was taken, and how much more was asked for, as far as is known; a sentence behind another.

    Parameters
    ----------
    taken : bytes at most
    words : of a library's error
    """
    asked = ASKED.search(words)
    more = asked and (asked[1] or f"{int(asked[2]) / 2**30:.2f} GiB")
    if not taken:
        return ""
    return f" It had taken {taken / 2**30:.2f} GiB" + (f" and asked for {more} more." if more else ".")


def most_memory() -> int | None:
    """The most memory in bytes that this process has had; None where the system does not say."""
    try:
        import resource
    except ImportError:
        return None
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


ALIKE = 0.75  # share of letters in common; at difflib's own 0.6 unlike words come, such as remark for mark


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name that is most like the one given, or that alone begins with its words; empty where none does."""
    name, known = name.strip().lower(), list(known)
    begins = [one for one in known if one.startswith(f"{name}_")]
    near = difflib.get_close_matches(name, known, n=1, cutoff=ALIKE)
    return near[0] if near else begins[0] if name and len(begins) == 1 else ""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """` Did you mean "rbh_bands_mm"?`, or nothing where no known name is near."""
    near = nearest(name, known)
    return f' Did you mean "{near}"?' if near else ""


SHOW_VALUES = "LIFTSERIES_SHOW_VALUES"
OUR_FAULT = "This is a fault of liftseries, not of the study. Please report the lines above."


def fault(error: BaseException) -> str:
    """Where an error of ours came from, frame by frame, and its kind.

    Its own words are left out, since libraries quote the cell that they stumble over; whoever may see the
    patients' data sets LIFTSERIES_SHOW_VALUES=1 to have them too.
    """
    if os.environ.get(SHOW_VALUES):
        return "".join(traceback.format_exception(error))
    told, seen = [], set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        frames = "".join(traceback.format_tb(error.__traceback__))
        told.append(f"{frames}{type(error).__name__} (its words may quote a cell; {SHOW_VALUES}=1 shows them)\n")
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    return "while dealing with this:\n".join(reversed(told))
