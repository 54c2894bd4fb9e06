"""Which bytes a study consists of, and whether they are still those that a run began with.

A run notes the hash of every input when it begins. The jobs that read an input hold what they read to that note, and
before manifest.json is written the files are held to it once more: a changed input ends the run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from liftseries.base.errors import Problem, StudyError
from liftseries.base.reading import BytesRead, sha256
from liftseries.study.plan import Plan
from liftseries.study.plan_files import KEY_FILE, PLAN_FILE

AGAIN = "Run `liftseries run` again"


def input_hashes(plan: Plan) -> dict[str, str]:
    """study.yaml and every table's file, in the order of their names; see `hashes_of`."""
    others = hashes_of(plan.files(), plan.folder)
    return {**hashes_of([plan.folder / PLAN_FILE], plan.folder), **others}


def hashes_of(paths: Iterable[Path], folder: Path) -> dict[str, str]:
    """Hashes of the files that are there, by path within the study's folder, or whole where they lie outside."""
    found = {named(path, folder): sha256(path) for path in paths if path.is_file()}
    return dict(sorted(found.items()))


def only(hashes: Mapping[str, str], plan: Plan, *tables: str) -> dict[str, str]:
    """Of the hashes of all inputs those of the files that hold the named tables, and of the corrections."""
    names = {named(path, plan.folder) for path in plan.files(*tables)}
    return {name: digest for name, digest in hashes.items() if name in names}


def named(path: Path, folder: Path) -> str:
    """A file's path within the study's folder, or whole where it lies outside."""
    return str(path.relative_to(folder) if path.is_relative_to(folder) else path)


def check_as_begun(now: Mapping[str, str], begun: Mapping[str, str]) -> None:
    """Ends a run whose inputs are no longer those that it began with.

    Parameters
    ----------
    now, begun : input file -> SHA-256; only the files of `begun` are looked at where `now` was read by one job

    Raises
    ------
    StudyError
        With the name of each file that is gone, came or holds other bytes.
    """
    problems = []
    for name in sorted({*now, *begun}):
        if name not in now:
            problems.append(Problem(name, f"has gone since the run began. Put it back. {AGAIN}."))
        elif name not in begun:
            problems.append(Problem(name, f"came while the run was on. {AGAIN}."))
        elif now[name] != begun[name]:
            problems.append(Problem(name, f"changed while the run was on. Leave it as it is until the end. {AGAIN}."))
    if problems:
        raise StudyError(problems)


def check_read(read: BytesRead, begun: Mapping[str, str], folder: Path) -> None:
    """Ends a run of which a job has read other bytes than were there when it began; study.yaml is left to `check_plan`.

    A file that was not there to be read is told of by what misses it.

    Raises
    ------
    StudyError
    """
    hashes = {named(path, folder): digest for path, digest in read.hashes().items()}
    for name in (PLAN_FILE, KEY_FILE):  # the key of the corrections is no input: nothing that is written depends on it
        hashes.pop(name, None)
    check_as_begun(hashes, {name: digest for name, digest in begun.items() if name in hashes})


def check_plan(plan: Plan, params: Mapping[str, Any]) -> None:
    """Ends a run of which a job has read another study.yaml than the run began with.

    Parameters
    ----------
    plan : as the job read it
    params : of the job; those that are named like a section of study.yaml hold it, `plan` all of it, `study` its folder

    Raises
    ------
    StudyError
    """
    whole = plan.as_written
    begun = params.get("plan") or {name: value for name, value in params.items() if name in whole and name != "study"}
    tables = {name: [source.label for source in plan.tables.get(name, ())] for name in begun["tables"]}
    if begun != {**{name: whole.get(name) for name in begun}, "tables": tables}:
        message = f"changed while the run was on. Leave it as it is until the end. {AGAIN}."
        raise StudyError([Problem(PLAN_FILE, message)])
