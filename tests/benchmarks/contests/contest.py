"""What a contest is, and the run of one of its fits in a process of its own."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LIMIT_S, READING_S = 240, 20
REPEATED_BELOW, REPEATED_S = 100_000, 2.0
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

R_HEAD = """
read <- function(name) { path <- file.path(folder, name); readBin(path, "double", file.size(path) / 8) }
peak <- function() as.numeric(gsub("[^0-9]", "", grep("VmHWM", readLines("/proc/self/status"), value = TRUE))) * 1024
d <- data.frame(lapply(setNames(nm = columns), read)); n <- nrow(d)
"""
# Of a penalised model: `top` climbs from some coefficients over those that are free.
R_PROFILE_LIMITS = """
profile_limits <- function(best, se) {
  limits <- matrix(NA, p, 2)
  for (j in seq_len(p)) for (side in 1:2) {
    sign <- c(-1, 1)[side]; held <- best$b
    drop <- function(v) {
      b <- held; b[j] <- best$b[j] + sign * v * se[j]
      found <- top(b, setdiff(seq_len(p), j)); held <<- found$b; 2 * (best$value - found$value) - qchisq(.95, 1)
    }
    limits[j, side] <- best$b[j] + sign * se[j] * uniroot(drop, c(1, 4), tol = 1e-6)$root
  }
  limits
}
"""
R_TAIL = """
took <- 0; runs <- 0; sink(nullfile())
while (runs == 0 || (runs < repeated_below / n && took < repeated_s)) {
  took <- took + sum(suppressMessages(system.time(fitted <- fit()))[c("user.self", "sys.self")]); runs <- runs + 1
}
sink(); highest <- peak(); told <- numbers(fitted)
words <- function(x) if (length(x)) paste(sprintf("%.17g", x), collapse = ",") else ""
cat(sprintf('{"seconds": %.5f, "peak": %.0f, "estimate": [%s], "error": [%s]}',
            took / runs, highest, words(told[[1]]), words(told[-1][[1]])))
"""


@dataclass(frozen=True)
class R:
    """A fit in R: what it prepares untimed, then `fit`, which is timed, and `numbers` of what that gives.

    `numbers` gives list(estimates, errors), errors NULL where they are not those of ours.
    """

    code: str


PythonFit = Callable[[dict[str, np.ndarray]], Iterator]


@dataclass(frozen=True)
class Contest:
    """A model, and who fits it.

    Attributes
    ----------
    title
    columns : which of the simulated ones are read
    fits : what stands in the table -> the fit; `ours` first, then the one whose numbers ours should equal
        In Python a generator: it prepares and yields, then fits and yields estimates and errors.
    exact : whether the first rival estimates the same to EXACT
    """

    title: str
    columns: tuple[str, ...]
    fits: dict[str, R | PythonFit]
    exact: bool = True


def work(contest: Contest, name: str, folder: Path) -> None:
    """One fit in Python: prints its seconds, peak memory and numbers."""
    d = {column: np.fromfile(folder / column) for column in contest.columns}
    n, runs, seconds = len(d[contest.columns[0]]), 0, 0.0
    while runs == 0 or (runs < REPEATED_BELOW / n and seconds < REPEATED_S):
        steps = contest.fits[name](d)
        next(steps)  # imports and preparation
        started = time.process_time()
        estimate, error = next(steps)
        seconds, runs = seconds + time.process_time() - started, runs + 1
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    numbers = {"estimate": [float(b) for b in estimate], "error": [float(se) for se in error]}
    print(json.dumps({"seconds": seconds / runs, "peak": peak} | numbers))


def _limited() -> None:
    """In a process to be: the system ends it when its processor seconds, reading included, are used up."""
    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S + READING_S, LIMIT_S + READING_S + 5))


def measured(script: str, model: str, contest: Contest, name: str, folder: Path) -> dict | None:
    """The numbers of one fit, or None where it took too long."""
    fit = contest.fits[name]
    command = [sys.executable, script, "--worker", model, name, str(folder)]
    if isinstance(fit, R):
        columns = ", ".join(f'"{column}"' for column in contest.columns)
        head = f'folder <- "{folder.as_posix()}"; columns <- c({columns})\n'
        head += f"repeated_below <- {REPEATED_BELOW}; repeated_s <- {REPEATED_S}\n"
        command = ["Rscript", "-e", head + R_HEAD + fit.code + R_TAIL]
    done = subprocess.run(
        command, capture_output=True, encoding="utf-8", env={**os.environ, **ONE_THREAD}, preexec_fn=_limited
    )
    if done.returncode in (-signal.SIGXCPU, -signal.SIGKILL, 128 + signal.SIGXCPU, 128 + signal.SIGKILL):
        return None
    if done.returncode:
        raise SystemExit(f"{model}, {name}: {done.stderr[-2000:]}")
    found = json.loads(done.stdout.strip().splitlines()[-1])
    return found if found["seconds"] <= LIMIT_S else None
