"""One job of the workflow: its function called, its words put into its log, what a user can mend into `problems.txt`.

A rule's param `does` names the function, which takes the `Job`.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

from liftseries.base.errors import StudyError, fault, machine_fault
from liftseries.base.named import function_named

MACHINE = "The machine: "  # begins the line of a job that the machine failed
PROBLEMS = Path("logs/problems.txt")

# One thread for linear algebra: jobs run side by side, and sums over threads differ in their last digits.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"


@dataclass(frozen=True)
class Job:
    """A job as its function takes it: what Snakemake gives a script, without Snakemake.

    Attributes
    ----------
    inputs, outputs : name -> path or list of paths
    params : the rule's, by name
    wildcards : by name
    log : path
    """

    inputs: SimpleNamespace
    outputs: SimpleNamespace
    params: SimpleNamespace
    wildcards: SimpleNamespace
    log: str


def do(job: Job) -> tuple[int, str]:
    """Calls the function that the job's param `does` names.

    Warnings and errors go to the job's log. A `StudyError` is shown by its lines, without a traceback. An error that is
    not the machine's either is ours and is shown with its traceback, but without its words.

    Returns
    -------
    status : the job's exit status: 0, or 1 where it failed
    told : what the machine lacks; a full disk takes no log, so that it has to be told otherwise
    """
    try:
        with logged(job.log):
            function_named(job.params.does)(job)
    except SystemExit as ended:
        return int(ended.code or 0), ""
    except Exception as error:
        if told := machine_fault(error):
            return 1, str(told)
        raise
    return 0, ""


@contextmanager
def logged(log: str) -> Iterator[None]:
    """Runs a job's block; see `do`."""
    with Path(log).open("w", encoding="utf-8", buffering=1) as file, warnings.catch_warnings():
        warnings.showwarning = lambda message, category, filename, lineno, *_: print(
            f"{Path(filename).name}:{lineno}: {category.__name__}: {message}", file=file
        )
        try:
            yield
        except StudyError as error:
            _tell(str(error), file)
            PROBLEMS.write_text(f"{error}\n", encoding="utf-8")
            sys.exit(1)
        except Exception as error:
            if machine_fault(error):
                raise
            _tell(fault(error), file)
            sys.exit(1)


def _tell(text: str, file) -> None:
    print(text, file=file)
    print(text, file=sys.stderr)
