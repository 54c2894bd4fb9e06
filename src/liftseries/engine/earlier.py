"""What is kept of the finished run that another replaces: its tables, results.csv and manifest.json with their hashes.

`output/earlier/` holds one generation. It is kept where the study's files or its plan differ; a comment in study.yaml,
another version or `--force` replace nothing. It holds patients' rows and never leaves the house: of it a manifest names
only the counts in since.csv. No pandas here: each run asks this before it starts.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from liftseries.base.outputs import remake_folder
from liftseries.base.reading import sha256
from liftseries.engine.provenance import MANIFEST
from liftseries.engine.standing import Hashed, last_manifest
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.schema import TABLES

EARLIER = "earlier"
SINCE = f"{EARLIER}/since.csv"  # how many rows changed, for the report
RESULTS = "results.csv"


def keep_earlier(plan: Plan) -> None:
    """Keeps of the finished run what `changes` needs, where the one that begins has other files or another plan.

    Nothing is kept of a run whose tables or results are no longer what it left: what lies there already stays.
    """
    last = last_manifest(plan.output)
    if not last or not _is_another(plan, last):
        return
    if kept_earlier(plan.output) == sha256(plan.output / MANIFEST):
        return
    names = kept_of(last)
    if not_as_left(plan.output, last, names):
        return
    with remake_folder(plan.output / EARLIER) as folder:
        (folder / "clean").mkdir()
        for name in (*names, MANIFEST):
            shutil.copyfile(plan.output / name, folder / name)


def kept_earlier(output: Path) -> str:
    """The hash of the kept run's manifest; "" where none was kept, or what was kept is no longer what it left."""
    earlier = last_manifest(output / EARLIER)
    if not earlier or not_as_left(output / EARLIER, earlier, kept_of(earlier)):
        return ""
    return sha256(output / EARLIER / MANIFEST)


def _is_another(plan: Plan, last: Mapping[str, Any]) -> bool:
    """Whether the tables' files or the plan differ from the last run's; how study.yaml is written does not count."""
    now, before = input_hashes(plan), dict(last["inputs"])
    now.pop(PLAN_FILE), before.pop(PLAN_FILE)
    return now != before or json.loads(json.dumps(plan.as_written)) != last["plan"]


def kept_of(last: Mapping[str, Any]) -> list[str]:
    """The files of a run, by its manifest, that are kept when another replaces it."""
    clean = [f"clean/{table}.csv" for table in TABLES]
    return [RESULTS, *(name for name in clean if name in last["outputs"])]


def not_as_left(output: Path, manifest: Mapping[str, Any], names: list[str]) -> list[str]:
    """Those of the files that no longer hold the bytes of which the manifest tells."""
    hashed = Hashed(output)
    return [name for name in names if hashed.sha256(output / name) != manifest["outputs"].get(name, "")]
