"""Which bytes a study consists of: hashes of study.yaml and of every table's file."""

from __future__ import annotations

import hashlib
from pathlib import Path

from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE


def sha256(path: Path) -> str:
    """Of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def input_hashes(plan: Plan) -> dict[str, str]:
    """study.yaml and every table's file, by path within the study folder, or whole where it lies outside."""
    files = [path for path in (plan.folder / PLAN_FILE, *plan.files()) if path.is_file()]
    inside = {path: path.relative_to(plan.folder) for path in files if path.is_relative_to(plan.folder)}
    return {str(inside.get(path, path)): sha256(path) for path in files}
