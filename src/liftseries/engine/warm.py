"""A process in which the libraries are loaded before the first job needs them: each job is a fork of it.

Starting Python with pandas takes longer than most jobs of a small series. The process starts beside Snakemake, which
takes about as long; Snakemake knows each job as its own script, which hands the job over and ends with its exit status.
The process and its forks die with the run: it reads a pipe that only the run holds open. It is made where Python can
fork safely (Linux); elsewhere, on a cluster, and where Snakemake was started by hand, a job is done by its own script.
"""

from __future__ import annotations

import gc
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from multiprocessing.connection import Connection, wait
from pathlib import Path
from pkgutil import walk_packages

from liftseries.base.named import function_named

ADDRESS = "LIFTSERIES_WARM"  # in the environment of a run's jobs: the socket
# What the first job needs, the check of the tables; all else is loaded while that is at work.
FIRST = (
    "pandas", "pyarrow.parquet", "pandera.pandas", "openpyxl", "liftseries.engine.spine", "liftseries.intake.study",
)  # fmt: skip
THEN = (
    "scipy.optimize", "liftseries.engine.answer", "matplotlib.backends.backend_pdf", "matplotlib.backends.backend_svg",
    "matplotlib.backends.backend_agg",
)  # fmt: skip
LAST = (
    "jinja2", "docx", "scipy.stats", "statsmodels.genmod.generalized_estimating_equations", "lifelines", "typst",
)  # fmt: skip

# glibc gives memory back to the machine as soon as it is free; a job soon asks for as much again, which was up to a
# quarter of the time of a job on large tables. It keeps what it had until it ends.
KEEPS_MEMORY = {"MALLOC_TRIM_THRESHOLD_": str(2**32), "MALLOC_MMAP_THRESHOLD_": str(2**32)}

NO_JOBS = tuple(f"liftseries.{room}" for room in ("cli", "engine", "planning", "pseudonyms", "release", "twin"))


@contextmanager
def warmed(output: Path, environment: dict[str, str]) -> Iterator[dict[str, str]]:
    """Keeps a warm process for the jobs of a run; gives the environment that tells them of it.

    One that the environment tells of already, kept for several runs, serves this one too.

    Parameters
    ----------
    output : the run's output folder, where the process works
    environment : of the run
    """
    if sys.platform != "linux" or ADDRESS in environment:
        yield environment
        return
    with tempfile.TemporaryDirectory() as folder:  # for this user alone
        address = f"{folder}/jobs"
        process = subprocess.Popen(
            [sys.executable, "-m", "liftseries.engine.warm", address],
            cwd=output,
            env=KEEPS_MEMORY | environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,  # what a job says goes to its log
            start_new_session=True,
        )
        try:
            yield environment | {ADDRESS: address}
        finally:
            process.stdin.close()
            # It may not look: a library that finds no memory while it is loaded tries for ever.
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def serve(address: str) -> None:
    """Forks for each job that comes, until standard input ends."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for a fork
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(address)
        door.listen()
        later = _later()
        _load()
        _spare_what_is_loaded()
        while True:
            ready = wait([door, sys.stdin.fileno()], 0 if later else None)
            if sys.stdin.fileno() in ready:
                os.killpg(os.getpgid(0), signal.SIGKILL)
            if not ready:
                import_module(later.pop(0))
                _spare_what_is_loaded()
                continue
            caller = Connection(door.accept()[0].detach())
            if os.fork() == 0:
                door.close()
                _do(caller)
            caller.close()


def _load() -> None:
    for module in ("liftseries.engine.job", *FIRST):
        import_module(module)
    for read in ("read_schema", "derived_schema", "results_schema"):  # once for all jobs
        function_named(f"liftseries.study.schema:{read}")()
    function_named("liftseries.study.plan_shape:plan_schema")()


def _later() -> list[str]:
    """What is loaded between the first jobs, while a core is idle, in this order."""
    import liftseries

    ours = [module.name for module in walk_packages(liftseries.__path__, "liftseries.")]
    return [*THEN, *(name for name in ours if not name.startswith(NO_JOBS)), *LAST]


def _spare_what_is_loaded() -> None:
    """What is loaded stays for good: no job looks it through for what is no longer used, a tenth of drawing's time."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


def _do(caller: Connection) -> None:
    from liftseries.engine.job import do

    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    folder, job = caller.recv()
    os.chdir(folder)
    caller.send(os.getpid())
    threading.Thread(target=_end_with, args=[caller], daemon=True).start()
    ended = do(job)
    with suppress(OSError):
        caller.send(ended)
    os._exit(0)


def _end_with(caller: Connection) -> None:
    """Ends the fork where its caller ended first."""
    with suppress(EOFError, OSError):
        caller.recv()
    os.kill(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    serve(sys.argv[1])
