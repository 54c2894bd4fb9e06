"""What a run was made of: hashes of sources, inputs and outputs, and the versions that made them.

Snakemake does not notice a changed package, so each rule carries the hash of the rooms it calls; and
`manifest.json` lets the next run see at once, without starting Snakemake, that nothing has changed.
"""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from liftseries import __version__
from liftseries.base.home import PACKAGE, folder
from liftseries.base.reading import sha256
from liftseries.study.plan import Plan

ALL = (".csv", ".docx", ".html", ".json", ".parquet", ".pdf", ".png", ".svg")
# Library -> the kinds of output whose bytes another version of it may change; a number stands in all of them. Each is
# in manifest.json, pinned by the lock, and named with its version and kinds in the changelog, which a test holds to it.
MAY_CHANGE = {
    "pandas": ALL,
    "numpy": ALL,
    "scipy": ALL,
    "statsmodels": ALL,
    "lifelines": ALL,
    "pandera": ALL,
    "python-calamine": ALL,
    "openpyxl": (*ALL, ".xlsx"),
    "matplotlib": (".html", ".pdf", ".png", ".svg"),
    "fonttools": (".html", ".pdf", ".svg"),
    "pillow": (".png",),
    "pyarrow": (".parquet",),
    "python-docx": (".docx",),
    "jinja2": (".html",),
    "typst": (".pdf",),
    "snakemake": (),
}
PACKAGES = tuple(MAY_CHANGE)
MANIFEST = "manifest.json"
CRATE = "ro-crate-metadata.json"
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
    return {file.relative_to(output).as_posix(): sha256(file) for file in sorted(files)}


def manifest(plan: Plan, inputs: Mapping[str, str], outputs: Sequence[str], between: Sequence[str]) -> dict[str, Any]:
    """The content of manifest.json, for what a run has left as it lies there now.

    Parameters
    ----------
    plan
    inputs : input file -> SHA-256 of the bytes that were read
    outputs : files and folders within the output folder, for people
    between : those that lie between inputs and outputs
    """
    return {
        "study": plan.study_id,
        "plan": plan.as_written,
        "seed": plan.seed,
        "versions": versions(),
        "code": all_code(),
        "inputs": dict(inputs),
        "outputs": output_hashes(plan.output, outputs),
        "between": output_hashes(plan.output, between),
        # A rule leaves each of these as a whole.
        "folders": sorted(name for name in (*outputs, *between) if (plan.output / name).is_dir()),
    }


def as_json(content: Any) -> str:
    """For a file that people may read too."""
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def all_code() -> str:
    """A hash over the whole package and its workflow."""
    return code_of(*sorted(path.name for path in PACKAGE.iterdir()), "workflow", "schemas", "reports")
