"""The house: its rooms' imports point one way, its top level holds what belongs there, its wheel is whole."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, encoding="utf-8")
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def test_imports_point_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stdout


def test_geometry_and_models_open_no_file():
    for room in ("geometry", "models"):
        for path in (ROOT / "src" / "liftseries" / room).rglob("*.py"):
            words = path.read_text(encoding="utf-8")
            for opener in ("open(", "read_csv", "read_parquet", "read_excel", "pathlib", "liftseries.study.plan"):
                assert opener not in words, f"{path.name}: {opener}"


def test_top_level_is_as_agreed():
    assert {name.split("/")[0] for name in tracked() if not name.startswith(".")} == {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "requirements.txt", "make.py",
        "workflow", "src", "schemas", "tests", "reports", "synthetic_data",
    }  # fmt: skip


def test_lock_files_hold_hashes_and_no_host():
    for lock in (ROOT / "requirements.txt", ROOT / "tests" / "requirements.txt"):
        words = lock.read_text(encoding="utf-8")
        assert "://" not in words
        pins = [line for line in words.splitlines() if "==" in line and not line.startswith((" ", "#"))]
        assert pins
        assert words.count("--hash=sha256:") >= len(pins)


def test_wheel_carries_workflow_schemas_and_templates(tmp_path):
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", tmp_path], cwd=ROOT, check=True)
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    for name in (
        "workflow/Snakefile",
        "workflow/scripts/job.py",
        "schemas/sites.yaml",
        "reports/report.html.j2",
    ):
        assert f"liftseries/{name}" in names


def test_readme_names_the_two_commands_that_ci_runs():
    readme, ci = (
        (ROOT / "README.md").read_text(encoding="utf-8"),
        (ROOT / ".ci" / "run").read_text(encoding="utf-8"),
    )
    for command in ("python3 make.py demo", "python3 make.py test"):
        assert f"    {command}" in readme
        assert command in ci
