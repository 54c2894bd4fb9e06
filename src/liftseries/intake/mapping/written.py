"""Drafts into the study folder: a new file, the difference to one that is there, new headers alone; lines to paste."""

from __future__ import annotations

import difflib
import itertools
import re
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import write_text, written_whole
from liftseries.base.plain_yaml import load_yaml
from liftseries.intake.mapping.drafted import Draft, drafted, quoted
from liftseries.intake.mapping.looked_at import LookedAt, look_at
from liftseries.study.forms import DOUBT, folded_name
from liftseries.study.plan_files import PLAN_FILE, file_of, load_written, source_of
from liftseries.study.schema import EVERY_TABLE, Table, read_schema

FOLDER = "reading"
DRAFTED_FOR = re.compile(r"# How (.+) is read, drafted from its headers;")


@dataclass(frozen=True)
class Mapped:
    """One file and what became of its draft."""

    label: str
    path: Path  # of the reading
    draft: Draft
    state: str  # new, same, differs, updated
    difference: str = ""  # of the draft to what is there, as a unified diff
    n_added: int = 0  # headers


def schema_of(folder: Path) -> Mapping[str, Table]:
    """The tables, with the study's own columns where its study.yaml can be read already."""
    try:
        written = load_written(folder / PLAN_FILE, PLAN_FILE, "start one with `liftseries new`")
        return read_schema(written.get("extra_columns") or {})
    except (StudyError, KeyError, TypeError, AttributeError):
        return read_schema()


def map_file(folder: Path, file: str, update: bool) -> Mapped:
    """Drafts the reading of one file; one that is there is left as it is, or given new headers alone.

    Parameters
    ----------
    folder : the study's
    file : its name inside the folder, with `#sheet` where a workbook has several
    update : add the headers that the reading does not name yet

    Raises
    ------
    StudyError, UsageError
        The file is not in the folder or cannot be read; the reading that is there is no YAML.
    """
    label = _inside(folder, file)
    schema = schema_of(folder)
    names = {name for table in schema.values() for name in table.columns}
    seen = look_at(source_of(label, folder), names)
    draft, path = drafted(seen, schema), _reading_path(folder, label)
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        write_text(path, draft.text)
        return Mapped(label, path, draft, "new")
    there = path.read_text(encoding="utf-8-sig", errors="replace")
    if update:
        n_added = _add_headers(path, there, seen)
        return Mapped(label, path, draft, "updated" if n_added else "same", n_added=n_added)
    lines = difflib.unified_diff(
        there.splitlines(),
        draft.text.splitlines(),
        f"{FOLDER}/{path.name}",
        "the draft as it would be now",
        lineterm="",
        n=1,
    )
    difference = "\n".join(lines)
    return Mapped(label, path, draft, "differs" if difference else "same", difference)


def _inside(folder: Path, file: str) -> str:
    name, _, sheet = file.partition("#")
    path = Path(name)
    for candidate in (folder / path, path.absolute()):
        if candidate.is_file():
            if not candidate.resolve().is_relative_to(folder.resolve()):
                raise UsageError(f"{name}: lies outside {folder}. Copy it into the study folder first.")
            label = candidate.resolve().relative_to(folder.resolve()).as_posix()
            return f"{label}#{sheet}" if sheet else label
    raise UsageError(f"{name}: there is no such file in {folder}. Copy it there, or correct its name.")


def _reading_path(folder: Path, label: str) -> Path:
    """Where the reading of a file stands: as study.yaml says, else under the first name that no other file's has."""
    readings = _readings_said(folder)
    if label in readings:
        return folder / readings[label]
    paths = (folder / FOLDER / f"{name}.yaml" for name in _names(label))
    others = {(folder / path).resolve() for path in readings.values()}
    return next(path for path in paths if path.resolve() not in others and _is_of(path, label))


def _readings_said(folder: Path) -> dict[str, str]:
    """The files of reading that study.yaml names, by label, as far as it can be read."""
    try:
        files = load_written(folder / PLAN_FILE, PLAN_FILE, "start one with `liftseries new`").get("files")
    except StudyError:
        return {}
    files = files if isinstance(files, dict) else {}
    inside = {str(label): entry for label, entry in files.items() if isinstance(entry, str)}
    return {
        label: entry
        for label, entry in inside.items()
        if (folder / entry).parent.resolve() == (folder / FOLDER).resolve()
    }


def _names(label: str) -> Iterator[str]:
    """What a reading may be called: `north`, `north_xlsx`, `hospital_north_xlsx`, `north_2` …"""
    path, sheet = Path(file_of(label)), label.partition("#")[2]
    behind = f"_{sheet}" if sheet else ""
    yield path.stem + behind
    yield f"{path.stem}_{path.suffix.lstrip('.')}{behind}"
    yield "_".join([*path.parent.parts, path.stem, path.suffix.lstrip(".")]) + behind
    yield from (f"{path.stem}{behind}_{number}" for number in itertools.count(2))


def _is_of(path: Path, label: str) -> bool:
    """Whether a reading may be the file's: it is not there yet, or does not say that it was drafted for another one."""
    if not path.exists():
        return True
    said = DRAFTED_FOR.match(path.read_text(encoding="utf-8-sig", errors="replace"))
    return said is None or said[1] == label


def _add_headers(path: Path, there: str, seen: LookedAt) -> int:
    """Puts headers that the reading does not name under `ignore`, as questions; the rest stays byte for byte."""
    import yaml

    try:
        known = set(_texts(load_yaml(there)))
    except yaml.YAMLError:
        raise StudyError(
            [Problem(f"{FOLDER}/{path.name}", "not YAML. Mend it, or take it away and draft it anew.")]
        ) from None
    columns = {name for table in read_schema().values() for name in table.columns}
    new = [column for column in seen.columns if folded_name(column.name) not in known | columns]
    if not new:
        return 0
    lines = [f"  - {quoted(f'{DOUBT} {column.name}')}  # {column.shape}, {column.n_filled} filled" for column in new]
    rows = there.splitlines()
    starts = [at for at, row in enumerate(rows) if row.startswith("ignore:")]
    if starts and rows[starts[0]].split("#")[0].strip() != "ignore:":
        message = "`ignore` stands on one line. Write each of its names on a line of its own, then update again."
        raise StudyError([Problem(f"{FOLDER}/{path.name}, line {starts[0] + 1}", message)])
    if starts:
        rows[starts[0] + 1 : starts[0] + 1] = lines
    else:
        rows += ["ignore:", *lines]
    write_text(path, "\n".join(rows) + "\n")
    return len(new)


def _texts(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [folded_name(key) for key in value] + [text for entry in value.values() for text in _texts(entry)]
    if isinstance(value, list):
        return [text for entry in value for text in _texts(entry)]
    return [folded_name(str(value).removeprefix(f"{DOUBT} "))]


# ── study.yaml ──────────────────────────────────────────────────────────────────────────────────────────────────


def lines_for_plan(files: Sequence[Mapped]) -> dict[str, str]:
    """What study.yaml must say of the files: by key, `tables` and `files`, the lines to paste."""
    of_tables = {
        table: [file.label for file in files if table in file.draft.tables]
        for table in EVERY_TABLE
        if any(table in file.draft.tables for file in files)
    }
    lines = {}
    if of_tables:
        listed = [f"  {table}: [{', '.join(map(quoted, labels))}]" for table, labels in of_tables.items()]
        lines["tables"] = "\n".join(["tables:", *listed])
    listed = [f"  {quoted(file.label)}: {quoted(f'{FOLDER}/{file.path.name}')}" for file in files]
    lines["files"] = "\n".join(["files:", *listed])
    return lines


def add_to_plan(folder: Path, lines: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """Appends the lines to study.yaml where it has no such key; what stood there stays, and a copy beside it as .bak.

    Returns
    -------
    added, left : the keys that were appended, and those that study.yaml has already
    """
    path = folder / PLAN_FILE
    before = path.read_bytes() if path.is_file() else b""
    written = load_written(path, PLAN_FILE, "start one with `liftseries new`") if before.strip() else {}
    added = [key for key in lines if key not in written]
    left = [key for key in lines if key in written and not _says(written, key, lines[key])]
    if added:
        if before:
            shutil.copyfile(path, path.with_name(f"{PLAN_FILE}.bak"))
        text = "".join(f"{lines[key]}\n" for key in added)
        with written_whole(path) as temporary, temporary.open("wb") as file:
            file.write(before)
            if before and not before.endswith(b"\n"):
                file.write(b"\n")
            file.write(text.encode("utf-8"))
    return added, left


def _says(written: Mapping[str, Any], key: str, lines: str) -> bool:
    there, meant = written[key], load_yaml(lines)[key]
    if not isinstance(there, dict):
        return False
    for name, entry in meant.items():
        has = there.get(name)
        if has != entry and not (
            isinstance(entry, list) and set(entry) <= set([has] if isinstance(has, str) else has or ())
        ):
            return False
    return True
