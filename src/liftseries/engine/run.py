"""One run of the workflow: alone in its output folder, recovering from a killed one, telling how far it is."""

from __future__ import annotations

import csv
import os
import re
import shutil
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from liftseries.base.errors import MachineFault, Problem, StudyError
from liftseries.base.home import folder
from liftseries.base.numbers import counted
from liftseries.base.outputs import remove_unfinished
from liftseries.base.remarks import NOTHING_RECORDED
from liftseries.engine.earlier import keep_earlier
from liftseries.engine.heard import Heard
from liftseries.engine.job import MACHINE, PROBLEMS
from liftseries.engine.processes import (
    MARK,
    at_work_in,
    die_with_this,
    end,
    end_after_its_jobs,
    end_with_children,
    ended_by_sigterm,
    is_marked,
)
from liftseries.engine.profiles import jobs_elsewhere
from liftseries.engine.provenance import MANIFEST
from liftseries.engine.standing import is_up_to_date, remove_edited, take_out_of_the_future
from liftseries.engine.warm import warmed
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE

LOCK = ".lock"
AGAIN = "A job has failed and is tried again."
SNAKEMAKE_LOG = Path("logs/snakemake.log")
# All but `source-cache`, which would lie in the home of the user: there may be none that can be written.
KEPT_HERE = ("input-output", "persistence", "software-deployment", "sources", "storage-local-copies")
# Whenever a job ends, Snakemake starts one more timer that looks for jobs each time this span is over, here 10 s: with
# its own, a second, these take a core for a tenth of the time.
MOST_STARTED = "1000/10s"
MOST_NAMED = 5  # analyses that the last words of a run name, and files


class RunFailed(Exception):
    """A job failed for a reason that is no study problem: the fault is ours. Carries the job's log."""


def run(plan: Plan, cores: int | None, force: bool = False, tell: bool = True, profile: Path | None = None) -> bool:
    """Brings the outputs up to date.

    Parameters
    ----------
    plan
    cores : how many jobs may run side by side; None with a profile: as many as it says
    force : do everything again
    tell : each job as it begins, on standard error
    profile : folder of a profile of Snakemake that says where jobs run; None: beside this process

    Returns
    -------
    False where nothing had changed and nothing was done

    Raises
    ------
    StudyError
        The tables have problems, an input changed meanwhile, or another run is at work in the folder.
    MachineFault
        The machine does not give what is needed.
    RunFailed
        Something else went wrong.
    """
    plan.output.mkdir(parents=True, exist_ok=True)
    with alone_in(plan.output):
        if not force and is_up_to_date(plan.folder, plan.output):
            return False
        keep_earlier(plan)
        _recover(plan, tell)
        _start_snakemake(plan, _command(plan, cores, force, profile), tell, is_elsewhere=profile is not None)
    return True


@contextmanager
def alone_in(output: Path) -> Iterator[None]:
    """Holds the folder's lock, having made sure that no other run is alive in it.

    What a killed run left running is ended: its lock is free, so nobody waits for it.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(output / LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise _busy(output, "") from None
    try:
        left_behind, others = [], []
        for process in at_work_in(output):
            (left_behind if is_marked(process) else others).append(process)
        if others:
            raise _busy(output, f" (process {others[0].pid})")
        end(left_behind)
        yield
    finally:
        lock.release()


def _busy(output: Path, who: str) -> StudyError:
    message = f"another run{who} is at work in this folder. Wait until it has ended, or end it."
    return StudyError([Problem(str(output), message)])


def _recover(plan: Plan, tell: bool) -> None:
    """Clears what an interrupted run left: half-written files and Snakemake's lock; and what was edited since."""
    remove_unfinished(plan.output)
    take_out_of_the_future(plan.output)
    if gone := remove_edited(plan.output):
        more = f" and {len(gone) - MOST_NAMED} more" if len(gone) > MOST_NAMED else ""
        print(f"Not as the last run left them, and made again: {', '.join(gone[:MOST_NAMED])}{more}.")
    (plan.output / PROBLEMS).unlink(missing_ok=True)
    locks = plan.output / ".snakemake" / "locks"
    if locks.is_dir() and any(locks.iterdir()):
        if tell:
            print("An earlier run was interrupted here; going on from where it stopped.", file=sys.stderr)
        shutil.rmtree(locks)  # as `snakemake --unlock` does: nobody else is at work here


def _command(plan: Plan, cores: int | None, force: bool, profile: Path | None) -> list[str]:
    return [
        sys.executable, "-m", "snakemake" if profile else "liftseries.engine.local_snakemake",
        "--snakefile", str(folder("workflow") / "Snakefile"),
        "--configfile", str(plan.folder / PLAN_FILE),
        *(["--cores", str(cores)] if cores else []),
        *(["--profile", str(profile)] if profile else []),
        "--workflow-profile", "none",
        "--scheduler", "greedy",
        "--rerun-incomplete",
        "--force-use-threads",  # jobs are waited for, not done
        "--nocolor",
        *(["--forceall"] if force else []),
        *([] if profile else ["--max-jobs-per-timespan", MOST_STARTED, "--shared-fs-usage", *KEPT_HERE]),
    ]  # fmt: skip


def _start_snakemake(plan: Plan, command: list[str], tell: bool, is_elsewhere: bool) -> None:
    log = plan.output / SNAKEMAKE_LOG
    log.parent.mkdir(parents=True, exist_ok=True)
    heard, environment = Heard(), {**os.environ, MARK: "1", "PYTHONUNBUFFERED": "1"}
    prepared = jobs_elsewhere(plan, environment) if is_elsewhere else warmed(plan.output, environment)
    with prepared as environment, ended_by_sigterm():
        process = subprocess.Popen(
            command,
            cwd=plan.output,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
            preexec_fn=partial(die_with_this, is_elsewhere) if sys.platform == "linux" else None,
            start_new_session=is_elsewhere,  # a key's signal reaches it through us, once
        )
        try:
            with log.open("w", encoding="utf-8") as file:
                for line in _kept(heard.noted(process.stdout), file):
                    if line == AGAIN and (plan.output / PROBLEMS).is_file():
                        end_after_its_jobs(process)  # a study's problem stays, however often a job is tried
                    elif tell:
                        print(line, file=sys.stderr, flush=True)
            status = process.wait()
        except BaseException:  # an interruption, or a disk that takes no log
            if is_elsewhere:
                end_after_its_jobs(process)
            end_with_children(process.pid)
            process.wait()
            raise
    if status:
        raise heard.machine_fault(status) or _why(plan.output)


def _kept(lines: Iterable[str], file) -> Iterator[str]:
    """Writes Snakemake's words to the log and gives what a user wants of them: `[3/9] Modelling …`."""
    total, n_started = "?", 0
    for line in lines:
        file.write(line)
        if count := re.match(r"total\s+(\d+)", line):
            total = str(int(count[1]) - 1)  # the target itself is no work
        elif job := re.match(r"Job \d+: (.+)", line):
            n_started += 1
            yield f"[{n_started}/{total}] {job[1]}"
        elif line.startswith("Trying to restart job"):
            yield AGAIN


def _why(output: Path) -> Exception:
    """What a run failed of, where Snakemake did not tell of the machine: the study, the machine of a job, or us."""
    if (output / PROBLEMS).is_file():
        return StudyError([], screen=(output / PROBLEMS).read_text(encoding="utf-8"))
    words = (output / SNAKEMAKE_LOG).read_text(encoding="utf-8")
    logs = [output / name for name in re.findall(r"log: (\S+\.log)", words)]
    said = {path: path.read_text(encoding="utf-8", errors="replace").strip() for path in logs if path.is_file()}
    # A cluster's own log holds what a job said elsewhere; of several attempts the last one counts.
    for line in reversed("\n".join(said.values()).splitlines()):
        if line.startswith(MACHINE):
            return MachineFault(line.removeprefix(MACHINE))
    told = [text for path, text in said.items() if text and ".snakemake" not in path.parts]
    return RunFailed("\n".join(told) or words)


def has_nothing_to_do(study: Path, output: Path) -> bool:
    """Whether the last run's outputs hold; looked at before the plan is read, which takes longer.

    Raises
    ------
    StudyError
        Another run is at work in the output folder.
    """
    if not (output / MANIFEST).is_file():
        return False
    with alone_in(output):
        return is_up_to_date(study, output)


def what_to_look_at(output: Path) -> list[str]:
    """The last words of a run: where the report lies, and what needs a look first."""
    pages = [*output.glob("report.html"), *sorted(output.glob("*/report.html"))]
    words = []
    n_aside = len({(row["file"], row["row"]) for row in _rows(output / "set_aside.csv")})
    if n_aside:
        words.append(f"Look first at set_aside.csv: {n_aside} rows were left out.")
    words += _odd_entries(_rows(output / "oddities.csv"))
    empty = [row for row in _rows(output / "results.csv") if not row["estimate"]]
    unfit = sorted({row["analysis"] for row in empty if row["problem"] not in NOTHING_RECORDED})
    if unfit:
        more = f" and of {len(unfit) - MOST_NAMED} others" if len(unfit) > MOST_NAMED else ""
        named = ", ".join(unfit[:MOST_NAMED])
        words.append(f"Some estimates could not be made; results.csv says why: those of {named}{more}.")
    made = ", ".join(str(page) for page in pages or [output / "report.html"])
    words.append(f"Made {made}. Next: read page one, which answers; a supplement.html lies beside it.")
    return words


def _odd_entries(listed: list[dict[str, str]]) -> list[str]:
    """How many are odd; those that the plan accepts are counted by rule at each run, since more may have come."""
    accepted = Counter(row["rule"] for row in listed if row["accepted"] == "true")
    left = len(listed) - accepted.total()
    words = [f"Odd, and taken all the same: {counted(left, 'entry', 'entries')}, in oddities.csv."] if left else []
    if accepted:
        words.append("Odd, and accepted: " + ", ".join(f"{rule} {n}" for rule, n in accepted.items()) + ".")
    return words


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def took(started: float) -> str:
    """`41 s`, since a `time.monotonic()`."""
    return f"{time.monotonic() - started:.0f} s"
