"""What each rule does: it hands its job to the warm process where one waits, else to a process of its own.

Snakemake waits for it in a thread: a script of Snakemake's would start a Python for each job, only to wait.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from multiprocessing.connection import Client
from pathlib import Path
from types import SimpleNamespace

from liftseries.base.errors import MACHINE_FAULTS, memory_taken
from liftseries.engine.job import MACHINE, Job, do
from liftseries.engine.warm import ADDRESS

LONGEST_LOAD = 600.0  # seconds until the warm process takes a job
LOOKED_EVERY = 0.2  # seconds, at what a job takes of the memory


class JobFailed(Exception):
    """A job that ended with another status than 0; its log says why."""


def hand_over(input, output, params, wildcards, log) -> None:
    """Has a rule's job done.

    Parameters
    ----------
    input, output, params, wildcards, log : what Snakemake gives a rule's `run`

    Raises
    ------
    JobFailed
    """
    job = Job(
        inputs=_by_name(input),
        outputs=_by_name(output),
        params=SimpleNamespace(**dict(params.items())),
        wildcards=SimpleNamespace(**dict(wildcards.items())),
        log=str(log[0]),
    )
    status, told = ask(job) or start(job)
    if told:
        sys.stderr.write(f"{MACHINE}{told}\n")
    if status:
        raise JobFailed(f"status {status}")


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
            warm.send((os.getcwd(), job))
            if not warm.poll(LONGEST_LOAD):  # libraries that find no memory may look for it for ever
                return 1, MACHINE_FAULTS["not_loaded"]
            process = warm.recv()
            most = memory_of(process)
            while not warm.poll(LOOKED_EVERY):
                most = max(most, memory_of(process))
            return warm.recv()
        except (EOFError, OSError):  # the fork was killed
            return 1, MACHINE_FAULTS["killed"] + memory_taken(most)


def start(job: Job) -> tuple[int, str]:
    """What `do` gives of a job that a new process did."""
    ended = subprocess.run([sys.executable, "-m", __name__], input=pickle.dumps(job), stdout=subprocess.PIPE)
    if ended.returncode:
        return 1, MACHINE_FAULTS["killed"]
    return pickle.loads(ended.stdout)


def memory_of(process: int) -> int:
    """The most memory that a process has had, in bytes; 0 where it is gone. proc(5), VmHWM."""
    try:
        words = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0
    return next((int(line.split()[1]) * 1024 for line in words.splitlines() if line.startswith("VmHWM")), 0)


if __name__ == "__main__":
    answer, sys.stdout = sys.stdout.buffer, sys.stderr  # what a job prints is no part of the answer
    job = pickle.load(sys.stdin.buffer)
    answer.write(pickle.dumps(do(job)))
