"""What a run was made of: hashes of sources, inputs and outputs, and the versions that made them.

Snakemake does not notice a changed package, so each rule carries the hash of the rooms it calls; and
`manifest.json` lets the next run see at once, without starting Snakemake, that nothing has changed.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from liftseries import __version__
from liftseries.base.home import PACKAGE, folder
from liftseries.study.input_hashes import input_hashes, sha256
from liftseries.study.plan import Plan

PACKAGES = (
    "pandas",
    "numpy",
    "scipy",
    "pandera",
    "matplotlib",
    "snakemake",
    "pyarrow",
)
# What a room reads of the columns' declarations: reference levels, lists of columns, titles.
READS_SCHEMAS = ("models", "report")
MANIFEST = "manifest.json"
# What the manifest covers: what a run leaves for people, not its intermediate files.
LEFT_FOR_PEOPLE = (
    "report.html",
    "report.pdf",
    "results.csv",
    "set_aside.csv",
    "decisions.csv",
    "derived",
    "figures",
    "tables",
)


@cache
def code_of(*rooms: str) -> str:
    """A hash over the sources of rooms (`models/gain`), modules (`study/plan.py`) or shipped folders (`schemas`)."""
    digest = hashlib.sha256()
    if any(room.split("/")[0] in READS_SCHEMAS for room in rooms):
        rooms = (*rooms, "study/schema.py", "schemas")
    for room in rooms:
        home = PACKAGE / room if (PACKAGE / room).exists() else folder(room)
        for path in [home] if home.is_file() else sorted(home.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                digest.update(f"{room}/{path.relative_to(home)}\0".encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def versions() -> dict[str, str]:
    """Of liftseries, Python and the packages that numbers and pictures come from."""
    return {
        "liftseries": __version__,
        "python": platform.python_version(),
        **{package: version(package) for package in PACKAGES},
    }


def output_hashes(output: Path) -> dict[str, str]:
    """Everything that a run leaves for people, by path within the output folder."""
    return {str(path.relative_to(output)): sha256(path) for path in sorted(_left_for_people(output))}


def _left_for_people(output: Path) -> Iterable[Path]:
    for name in LEFT_FOR_PEOPLE:
        path = output / name
        files = [path] if path.is_file() else path.rglob("*")
        # Snakemake keeps a hidden note of its own in tables/.
        yield from (file for file in files if file.is_file() and not file.name.startswith("."))


def manifest(plan: Plan) -> dict[str, Any]:
    """The content of manifest.json, for the outputs as they lie there now."""
    return {
        "study": plan.study_id,
        "plan": plan.as_written,
        "seed": plan.seed,
        "versions": versions(),
        "code": all_code(),
        "inputs": input_hashes(plan),
        "outputs": output_hashes(plan.output),
    }


def all_code() -> str:
    """A hash over the whole package and its workflow."""
    return code_of(*sorted(path.name for path in PACKAGE.iterdir()), "workflow", "schemas", "reports")


def is_up_to_date(plan: Plan) -> bool:
    """Whether the outputs are those of these inputs, this plan and this version, every byte of them."""
    path = plan.output / MANIFEST
    if not path.is_file():
        return False
    try:
        last = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return False
    now = json.loads(json.dumps(manifest(plan)))
    return last == now and bool(last["outputs"])
