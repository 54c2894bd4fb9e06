"""The demo series, run once in a clean folder; the tests here share it and stay on one worker."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "synthetic_data"


@dataclass(frozen=True)
class Said:
    """What a command left: status and words."""

    status: int
    out: str
    err: str


def liftseries(*words: str | Path, timeout: float = 300) -> Said:
    """Runs the command as a user would."""
    done = subprocess.run(
        [sys.executable, "-m", "liftseries.cli", *map(str, words)],
        capture_output=True,
        encoding="utf-8",
        timeout=timeout,
        env={**os.environ, "PYTHONUTF8": "1"},
    )
    return Said(done.returncode, done.stdout, done.stderr)


def rules_run(study: Path) -> set[str]:
    """The rules that the last run of Snakemake carried out."""
    words = (study / "output" / "logs" / "snakemake.log").read_text(encoding="utf-8")
    return set(re.findall(r"Finished jobid: \d+ \(Rule: (\w+)\)", words)) - {"everything"}


def copy_demo(folder: Path) -> Path:
    """The demo's study folder, without what a run left in it."""
    return Path(shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("output", "*.py", "__pycache__")))


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> tuple[Path, Said]:
    """The study folder after its first run, and what that run said."""
    study = copy_demo(tmp_path_factory.mktemp("demo") / "series")
    return study, liftseries("run", study)


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.xdist_group("whole_study"))
