"""The quick core of the tests with the oldest and the newest libraries that pyproject.toml allows, by Python.

    python tests/versions.py [--python 3.11 3.14] [--keep FOLDER]

Needs uv. Prints the table of tests/README.md: what was installed and whether the tests held. Compiled libraries come as
wheels; a Python that is neither here nor to be had by uv is told so.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
RESOLUTIONS = {"oldest": "lowest-direct", "newest": "highest"}
TOOLS = ("pytest>=9", "hypothesis>=6.150")
# Arithmetic, reading, models and one whole run with its report; no second program and nothing that takes minutes.
CORE = (
    "tests/geometry/test_deviations.py", "tests/estimators/test_kaplan_meier.py", "tests/estimators/test_cox.py",
    "tests/estimators/test_gee.py", "tests/study/test_schema.py", "tests/study/test_plan.py",
    "tests/intake/cells/test_cells.py", "tests/intake/files/test_reading.py", "tests/models/gain/test_gain.py",
    "tests/whole_study/test_changes.py::test_a_second_run_tells_what_changed_and_a_third_keeps_it",
)  # fmt: skip
COMPILED = ("pandas", "numpy", "scipy", "pyarrow", "matplotlib", "statsmodels", "typst", "python-calamine", "fonttools")
SHOWN = ("pandas", "numpy", "scipy", "pyarrow", "matplotlib", "snakemake")


def said(*command: str | Path, **options) -> subprocess.CompletedProcess:
    return subprocess.run([*map(str, command)], cwd=ROOT, capture_output=True, encoding="utf-8", **options)


def told(done: subprocess.CompletedProcess) -> str:
    """The first line in which something failed; without the places of this machine."""
    lines = [line.strip(" ×╰─▶") for line in (done.stdout + done.stderr).splitlines() if line.strip()]
    wrong = [line for line in lines if re.search(r"error|fail|because|no interpreter", line, re.I)]
    return re.sub(r"(/[\w.-]+){2,}", "…", (wrong or lines or ["?"])[0])[:160].replace("|", "/")


def held(folder: Path, python: str, resolution: str) -> tuple[str, str]:
    """What became of one pair: verdict, versions."""
    made = said("uv", "venv", "--quiet", "--python", python, folder)
    if made.returncode:
        return f"not had: {told(made)}", ""
    interpreter = folder / "bin" / "python"
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wheels = [word for name in COMPILED for word in ("--only-binary", name)]
    install = ("uv", "pip", "install", "--quiet", "--python", interpreter, *wheels)
    done = said(*install, "--resolution", RESOLUTIONS[resolution], *project["dependencies"], *TOOLS)
    if done.returncode:
        return f"not installed: {told(done)}", ""
    listed = json.loads(said("uv", "pip", "list", "--python", interpreter, "--format", "json").stdout)
    versions = {one["name"]: one["version"] for one in listed}
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "OMP_NUM_THREADS": "1"}
    environment.pop("CI", None)
    tests = said(interpreter, "-m", "pytest", "-q", "-p", "no:cacheprovider", *CORE, env=environment)
    last = [line for line in tests.stdout.splitlines() if re.search(r"\d+ (passed|failed|error)", line)]
    (folder / "said.txt").write_text(tests.stdout + tests.stderr, encoding="utf-8")
    verdict = re.sub(r" in .*|=", "", last[-1]).strip() if last else told(tests)
    return verdict, ", ".join(f"{name} {versions.get(name, '–')}" for name in SHOWN)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--python", nargs="+", default=PYTHONS)
    arguments.add_argument("--keep", type=Path)
    asked = arguments.parse_args()
    print("| Python | libraries | quick core | versions |\n|---|---|---|---|")
    with tempfile.TemporaryDirectory() as made:
        for python in asked.python:
            for resolution in RESOLUTIONS:
                folder = (asked.keep or Path(made)) / f"{python}_{resolution}"
                verdict, versions = held(folder, python, resolution)
                print(f"| {python} | {resolution} | {verdict} | {versions} |", flush=True)


if __name__ == "__main__":
    sys.exit(main())
