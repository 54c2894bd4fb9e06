"""What a run was made of: hashes of sources, inputs and outputs, and the versions that made them.

Snakemake does not notice a changed package, so each rule carries the hash of the rooms it calls; and
`manifest.json` lets the next run see at once, without starting Snakemake, that nothing has changed.
"""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Iterable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from liftseries import __version__
from liftseries.base.home import PACKAGE, folder
from liftseries.study.input_hashes import input_hashes, sha256
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE, PLAN_FILE, file_of, files_read
from liftseries.study.schema import AUDIT_TABLES

PACKAGES = (
    "pandas",
    "numpy",
    "scipy",
    "statsmodels",
    "lifelines",
    "pandera",
    "matplotlib",
    "snakemake",
    "pyarrow",
)
MANIFEST = "manifest.json"
IMPORTED = re.compile(r"^\s*(?:from (liftseries[\w.]*) import (\([^)]*\)|.*)|import (liftseries[\w.]*))", re.M)
SHIPPED = re.compile(r'folder\("(\w+)"\)')


@cache
def code_of(*rooms: str) -> str:
    """A hash over the sources of rooms (`report`), modules (`base/outputs.py`) or shipped folders (`schemas`)."""
    return _hash_of(_in_rooms(rooms))


@cache
def code_behind(*functions: str) -> str:
    """A hash over all that functions are made of: their modules, what these import, the shipped folders that they read.

    Parameters
    ----------
    functions : as text, `package.module:function`
    """
    waiting, found = [function.partition(":")[0] for function in functions], {}
    while waiting:
        module = waiting.pop()
        if module not in found and (path := _file_of(module)):
            found[module] = path
            waiting += _imported(path)
    folders = {name for path in found.values() for name in SHIPPED.findall(path.read_text(encoding="utf-8"))}
    return _hash_of([*found.items(), *_in_rooms(sorted(folders))])


@cache
def _imported(path: Path) -> tuple[str, ...]:
    """The modules of ours that a file imports, also inside functions; a name of a module may be one itself."""
    asked = []
    for room, names, module in IMPORTED.findall(path.read_text(encoding="utf-8")):
        asked += [module or room, *(f"{room}.{name}" for name in re.findall(r"\w+", names))]
    return tuple(asked)


@cache
def _file_of(module: str) -> Path | None:
    path = PACKAGE.parent.joinpath(*module.split("."))
    files = (path.with_suffix(".py"), path / "__init__.py")
    return next((file for file in files if file.is_file()), None)


def _in_rooms(rooms: Iterable[str]) -> list[tuple[str, Path]]:
    homes = {room: PACKAGE / room if (PACKAGE / room).exists() else folder(room) for room in rooms}
    return [
        (f"{room}/{path.relative_to(home)}", path)
        for room, home in homes.items()
        for path in ([home] if home.is_file() else home.rglob("*"))
    ]


def _hash_of(files: Iterable[tuple[str, Path]]) -> str:
    digest = hashlib.sha256()
    for name, path in sorted(files):
        if path.is_file() and "__pycache__" not in path.parts:
            digest.update(f"{name}\0".encode() + path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def versions() -> dict[str, str]:
    """Of liftseries, Python and the packages that numbers and pictures come from."""
    return {
        "liftseries": __version__,
        "python": platform.python_version(),
        **{package: version(package) for package in PACKAGES},
    }


def output_hashes(output: Path, names: Iterable[str]) -> dict[str, str]:
    """Hashes of outputs, by path within the output folder; of a folder every file in it, of what is not there none."""
    paths = [output / name for name in names]
    files = [file for path in paths for file in (path.rglob("*") if path.is_dir() else [path])]
    # Snakemake keeps a hidden note of its own in a folder.
    files = [file for file in files if file.is_file() and not file.name.startswith(".")]
    return {str(file.relative_to(output)): sha256(file) for file in sorted(files)}


def manifest(plan: Plan, outputs: Iterable[str]) -> dict[str, Any]:
    """The content of manifest.json, for what a run leaves for people as it lies there now.

    Parameters
    ----------
    plan
    outputs : files and folders within the output folder
    """
    return {
        "study": plan.study_id,
        "plan": plan.as_written,
        "seed": plan.seed,
        "versions": versions(),
        "code": all_code(),
        "inputs": input_hashes(plan),
        "outputs": output_hashes(plan.output, outputs),
    }


def all_code() -> str:
    """A hash over the whole package and its workflow."""
    return code_of(*sorted(path.name for path in PACKAGE.iterdir()), "workflow", "schemas", "reports")


def is_up_to_date(study: Path, output: Path) -> bool:
    """Whether the outputs are those of these inputs, this plan and this version, every byte of them.

    The plan need not be read for it: it is the last run's where study.yaml is the same to the byte.

    Parameters
    ----------
    study, output : the study folder and its output folder
    """
    try:
        last = json.loads((output / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    if not isinstance(last, dict) or not last.get("outputs") or PLAN_FILE not in last.get("inputs", ()):
        return False
    corrected = CORRECTIONS_FILE in last["inputs"]
    return (
        (study / CORRECTIONS_FILE).is_file() == corrected
        and (last.get("versions"), last.get("code")) == (versions(), all_code())
        and not _unnamed_files_came(study, last)
        and last["inputs"] == _hashes(study, last["inputs"])
        and last["outputs"] == output_hashes(output, last["outputs"])
    )


def _unnamed_files_came(study: Path, last: dict[str, Any]) -> bool:
    """Whether a table of the audit's cycle that study.yaml need not name lies there now and did not at the last run."""
    read = files_read(last["plan"], study)
    return any(file_of(label) not in last["inputs"] for name in AUDIT_TABLES for label in read.get(name, ()))


def _hashes(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Hashes of files that are there."""
    return {name: sha256(folder / name) for name in names if (folder / name).is_file()}
