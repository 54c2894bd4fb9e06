"""The processes of a run: which are at work in a folder, how they end with it, and by a signal."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from liftseries.base.errors import Terminated

ENGINE = "liftseries.engine."  # of the warm process, and of a job that has none
CALLED_BACK = 30  # seconds
MARK = "LIFTSERIES_RUN"  # in the environment of everything that a run starts


def at_work_in(output: Path) -> Iterator:
    """Processes of Snakemake, of its scripts or of a run's warm process whose working folder this is."""
    import psutil

    here = os.path.realpath(output)
    for process in psutil.process_iter(["cwd", "cmdline"]):
        cwd, command = process.info["cwd"], process.info["cmdline"]
        words = " ".join(command or ())
        if cwd and os.path.realpath(cwd) == here and ("snakemake" in words or ENGINE in words):
            yield process


def is_marked(process) -> bool:
    import psutil

    try:
        return MARK in process.environ()
    except (psutil.AccessDenied, psutil.NoSuchProcess):
        return False


def end(processes: list) -> None:
    import psutil

    for process in processes:
        with suppress(psutil.NoSuchProcess):
            process.kill()
    psutil.wait_procs(processes, timeout=10)


def end_with_children(pid: int) -> None:
    import psutil

    with suppress(psutil.NoSuchProcess):
        parent = psutil.Process(pid)
        end([*parent.children(recursive=True), parent])


def die_with_this(is_elsewhere: bool) -> None:
    """Snakemake ends when this process is killed; what its jobs write is whole or gone. prctl(2), PR_SET_PDEATHSIG.

    Parameters
    ----------
    is_elsewhere : whether its jobs run on other machines; then it is left the time to call them back
    """
    import ctypes

    if is_elsewhere:  # started by a script in the background it would be deaf to the very signal that calls jobs back
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    ctypes.CDLL(None).prctl(1, signal.SIGINT if is_elsewhere else signal.SIGKILL)


def end_after_its_jobs(process) -> None:
    """Lets Snakemake call back the jobs that it has submitted, for CALLED_BACK seconds at most."""
    process.send_signal(signal.SIGINT)
    with suppress(subprocess.TimeoutExpired):
        process.wait(CALLED_BACK)


@contextmanager
def ended_by_sigterm() -> Iterator[None]:
    """In the block SIGTERM interrupts, as a key does, so that nothing is left running."""

    def terminated(*_) -> None:
        raise Terminated

    before = signal.signal(signal.SIGTERM, terminated)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
