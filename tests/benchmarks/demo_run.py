"""How long the demo run takes: cold, unchanged and with one plan key changed; by rule, and what start-up costs a job.

    python tests/benchmarks/demo_run.py

Ratios within one run are what to read: seconds are the machine's. `snakemake --version` is the yardstick.
"""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
CORES = os.cpu_count() or 1


def seconds(*command: str | Path) -> float:
    started = time.perf_counter()
    subprocess.run([str(word) for word in command], check=True, capture_output=True)
    return time.perf_counter() - started


def run(study: Path) -> float:
    return seconds(sys.executable, "-m", "liftseries.cli", "run", study)


def by_rule(output: Path) -> dict[str, float]:
    """Seconds of each rule's job, from what Snakemake notes beside the outputs."""
    took = {}
    for note in (output / ".snakemake" / "metadata").rglob("*"):
        if note.is_file():
            job = json.loads(note.read_text(encoding="utf-8"))
            took[job["rule"]] = job["endtime"] - job["starttime"]
    return took


def start_up(script: Path) -> float:
    """Seconds for Python to start and to import what a script imports, nothing more."""
    tree = ast.parse(script.read_text(encoding="utf-8"))
    imports = [ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    return seconds(sys.executable, "-c", "\n".join(imports))


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        study = Path(shutil.copytree(ROOT / "synthetic_data", Path(scratch) / "series"))
        shutil.rmtree(study / "output", ignore_errors=True)
        yardstick = min(seconds(sys.executable, "-m", "snakemake", "--version") for _ in range(3))
        cold = run(study)
        rules = by_rule(study / "output")
        unchanged = min(run(study) for _ in range(3))
        plan = study / "study.yaml"
        words = plan.read_text(encoding="utf-8")
        plan.write_text(words.replace("protrusion_mm, graft, months]", "protrusion_mm, months]"), encoding="utf-8")
        one_key = run(study)
    print("| run | s | × `snakemake --version` |\n|---|---|---|")
    for name, took in (
        ("`snakemake --version`", yardstick),
        ("cold", cold),
        ("unchanged", unchanged),
        ("one plan key changed (gain_terms)", one_key),
    ):
        print(f"| {name} | {took:.1f} | {took / yardstick:.2f} |")
    print("\n| rule | job s | start-up s |\n|---|---|---|")
    started = {rule: start_up(ROOT / "workflow" / "scripts" / f"{rule}.py") for rule in rules}
    for rule, took in sorted(rules.items(), key=lambda item: -item[1]):
        print(f"| {rule} | {took:.1f} | {started[rule]:.1f} |")
    print(f"| all {len(rules)} jobs | {sum(rules.values()):.1f} | {sum(started.values()):.1f} |")
    of_jobs = sum(started.values()) / sum(rules.values())
    of_wall = sum(started.values()) / CORES / cold
    print(f"\nStart-up is {of_jobs:.0%} of the jobs' time; over {CORES} cores {of_wall:.0%} of the cold wall time.")


if __name__ == "__main__":
    main()
