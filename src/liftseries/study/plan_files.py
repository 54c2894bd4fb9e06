"""The files of a study: the names that are fixed, the tables' files as study.yaml names them, where they may lie."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from liftseries.base.errors import Problem, StudyError
from liftseries.base.plain_yaml import MOST_BYTES, load_yaml
from liftseries.base.reading import content
from liftseries.study.schema import AUDIT_TABLES

PLAN_FILE = "study.yaml"
CORRECTIONS_FILE = "corrections.csv"  # beside study.yaml, which need not name it
KEY_FILE = "corrections.key"  # beside it; no output holds it or depends on it
UNNAMED_ENDINGS = (".csv", ".xlsx", ".parquet")  # of the audit's tables, where study.yaml does not name them
OUTPUT = "output"  # where study.yaml names no other folder
READ_FROM = "LIFTSERIES_READ_FROM"  # in the environment: folders that the command line named with --read-from
CENTRE = "LIFTSERIES_CENTRE"  # in the environment: the one centre whose rows a run is of
CENTRES = "centres"  # within the output folder, a folder a centre
NO_FILE = "is no file, but a folder, a pipe or a device. Put a file of that name there."
TRUST = "LIFTSERIES_TRUST"  # in the environment: set where the command line said --trust


@dataclass(frozen=True)
class Source:
    """One file of one table, as study.yaml names it."""

    label: str  # as written: `north.csv`, `cases.xlsx#sites`
    path: Path
    sheet: str | None
    instead: str = ""  # what messages call it where its name may be somebody's: `sites, file 2`

    @property
    def told(self) -> str:
        """What messages and set_aside.csv call it."""
        return self.instead or self.label

    @property
    def told_file(self) -> str:
        """The same without its sheet."""
        return self.instead or file_of(self.label)


def source_of(label: str, study: Path) -> Source:
    """The file that a label of study.yaml names, relative to the study's folder."""
    name, _, sheet = label.partition("#")
    return Source(label=label, path=study / PurePosixPath(name.replace("\\", "/")), sheet=sheet or None)


def file_of(label: str) -> str:
    """`cases.xlsx` of `cases.xlsx#sites`."""
    return label.partition("#")[0]


def files_read(filled: Mapping[str, Any], study: Path) -> dict[str, list[str]]:
    """The files of each table that a run reads, as study.yaml names or might name them.

    The tables of the audit's cycle are read for an audit alone; one that study.yaml does not name is the file of that
    name beside it.

    Parameters
    ----------
    filled : study.yaml, its defaults filled in
    study : its folder
    """
    named = filled["tables"]
    if "audit" not in filled["purpose"]:
        return {table: labels for table, labels in named.items() if table not in AUDIT_TABLES}
    lying = {
        table: [table + ending for ending in UNNAMED_ENDINGS if (study / (table + ending)).is_file()]
        for table in AUDIT_TABLES
        if table not in named
    }
    return {**named, **{table: labels for table, labels in lying.items() if labels}}


def labels_read(filled: Mapping[str, Any], study: Path) -> list[str]:
    """Every file of the tables that a run reads, as study.yaml names it, each once."""
    return list(dict.fromkeys(label for labels in files_read(filled, study).values() for label in labels))


def load_written(path: Path, name: str, start: str, comments_do: bool = False) -> dict[str, Any]:
    """What a YAML file of the study holds.

    Parameters
    ----------
    path, name : the file, and what it is called in messages
    start : how one is begun
    comments_do : a file of comments alone says that there is nothing to say; one without a byte may be a broken copy

    Raises
    ------
    StudyError
        It is not there, is no UTF-8, no YAML, or holds no keys.
    """
    import yaml

    if not path.is_file():
        if path.exists():
            raise StudyError([Problem(name, NO_FILE)])
        raise StudyError([Problem(name, f"there is no such file. {start[0].upper()}{start[1:]}.")])
    try:
        data = content(path, MOST_BYTES)
        if len(data) > MOST_BYTES:
            message = f"is larger than {MOST_BYTES >> 10} KB. Keep the plan's keys only."
            raise StudyError([Problem(name, message)])
        written = load_yaml(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        message = f"byte {error.start + 1} is not UTF-8. Save the file as UTF-8."
        raise StudyError([Problem(name, message)]) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"{name}, line {mark.line + 1}" if mark else name
        raise StudyError([Problem(place, f"not YAML: {error.problem}. Mend the line.")]) from None
    except (yaml.YAMLError, ValueError, RecursionError):
        raise StudyError([Problem(name, "not YAML. Write it as plain UTF-8 text.")]) from None
    if written is None and comments_do and data.strip():
        return {}
    if not isinstance(written, dict):
        needed = "`tables` at least is needed" if name == PLAN_FILE else "write some, or take it out of `files`"
        raise StudyError([Problem(name, f"holds no keys; {needed}.")])
    return written


def folders_of(study: str | Path) -> tuple[Path, Path | None]:
    """The study folder and its output folder, as far as study.yaml says so without being checked; else None.

    Parameters
    ----------
    study : the study folder, or its study.yaml
    """
    import yaml

    path = Path(study).absolute()
    path = path / PLAN_FILE if path.is_dir() else path
    try:
        written = load_yaml(content(path, MOST_BYTES).decode("utf-8-sig")) if path.name == PLAN_FILE else {}
    except (OSError, ValueError, yaml.YAMLError, RecursionError):
        return path.parent, None
    output = written.get("output", OUTPUT) if isinstance(written, dict) and written else None
    return path.parent, path.parent / output if isinstance(output, str) else None


def folders_to_read() -> list[Path]:
    """Folders outside the study's own that tables may lie in, because the user named them on the command line."""
    return [Path(path).resolve() for path in os.environ.get(READ_FROM, "").split(os.pathsep) if path]


def path_problems(filled: dict[str, Any], study: Path) -> Iterator[Problem]:
    """Paths of study.yaml that leave its folder, meet what a run writes, or that Snakemake can't take."""
    own, read = study.resolve(), files_read(filled, study)
    for table in (table for table in read if table not in filled["tables"] and len(read[table]) > 1):
        message = f"{' and '.join(read[table])} lie beside it. Name the one that is meant under `tables`."
        yield Problem(f"{PLAN_FILE}, tables, {table}", message)
    named = [
        (f"tables, {table}", label.split("#")[0])
        for table, labels in {**filled["tables"], **read}.items()
        for label in labels
    ]
    if any(brace in str(study) for brace in "{}"):
        yield Problem(PLAN_FILE, "the path of its folder holds { or }, which Snakemake can't take. Rename the folder.")
    for where, path in [*named, ("output", filled["output"])]:
        if any(brace in path for brace in "{}"):
            yield Problem(
                f"{PLAN_FILE}, {where}", "the path holds { or }, which Snakemake can't take. Rename the file."
            )
        elsewhere = [] if where == "output" else folders_to_read()
        if not any((study / path).resolve().is_relative_to(allowed) for allowed in (own, *elsewhere)):
            message = "the path leaves the study folder. Keep the file inside it"
            message += "." if where == "output" else ", or name its folder on the command line with --read-from."
            yield Problem(f"{PLAN_FILE}, {where}", message)
    for where, path in named:
        if (study / path).resolve() == (study / CORRECTIONS_FILE).resolve():
            message = f"{CORRECTIONS_FILE} is where liftseries keeps corrections. Give the table's file another name."
            yield Problem(f"{PLAN_FILE}, {where}", message)
    output = (study / filled["output"]).resolve()
    inputs = [(study / path).resolve() for _, path in named]
    if output == own or any(path.is_relative_to(output) for path in inputs):
        message = "the folder holds the study's own files, which a run must not overwrite. Name another folder."
        yield Problem(f"{PLAN_FILE}, output", message)
