"""What the workflow's one script does: it hands its job to the warm process where one waits, else does it itself."""

from __future__ import annotations

import os
import sys
from multiprocessing.connection import Client
from pathlib import Path
from types import SimpleNamespace

from liftseries.base.errors import MACHINE_FAULTS, memory_taken
from liftseries.engine.job import MACHINE, Job, do
from liftseries.engine.warm import ADDRESS

LONGEST_LOAD = 600.0  # seconds until the warm process takes a job
LOOKED_EVERY = 0.2  # seconds, at what a job takes of the memory


def run(snakemake) -> None:
    """Does a rule's job and ends the process with its exit status.

    Parameters
    ----------
    snakemake : what Snakemake gives a script
    """
    job = Job(
        inputs=_by_name(snakemake.input),
        outputs=_by_name(snakemake.output),
        params=SimpleNamespace(**dict(snakemake.params.items())),
        wildcards=SimpleNamespace(**dict(snakemake.wildcards.items())),
        log=str(snakemake.log[0]),
    )
    status, told = ask(job) or do(job)
    if told:
        print(f"{MACHINE}{told}", file=sys.stderr)
    sys.exit(status)


def _by_name(files) -> SimpleNamespace:
    plain = {name: [*map(str, value)] if not isinstance(value, str) else str(value) for name, value in files.items()}
    return SimpleNamespace(**plain)


def ask(job) -> tuple[int, str] | None:
    """What `do` gives of a job that the warm process did; None where there is none to ask."""
    address = os.environ.get(ADDRESS)
    if not address:
        return None
    try:
        warm = Client(address, "AF_UNIX")
    except OSError:  # it does not listen yet, or no longer
        return None
    most = 0
    with warm:
        try:
            warm.send(job)
            if not warm.poll(LONGEST_LOAD):  # libraries that find no memory may look for it for ever
                return 1, MACHINE_FAULTS["not_loaded"]
            process = warm.recv()
            most = memory_of(process)
            while not warm.poll(LOOKED_EVERY):
                most = max(most, memory_of(process))
            return warm.recv()
        except (EOFError, OSError):  # the fork was killed
            return 1, MACHINE_FAULTS["killed"] + memory_taken(most)


def memory_of(process: int) -> int:
    """The most memory that a process has had, in bytes; 0 where it is gone. proc(5), VmHWM."""
    try:
        words = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0
    return next((int(line.split()[1]) * 1024 for line in words.splitlines() if line.startswith("VmHWM")), 0)
