"""How long the demo run takes: cold, unchanged, with one plan key changed, with the report's text changed; by rule.

    python tests/benchmarks/demo_run.py [--against REVISION] [--rounds N]

With `--against` an earlier commit does the same in turns with this tree, on the same machine in the same minutes.
Ratios within one run are what to read: seconds are the machine's. `snakemake --version` is the yardstick. The least of
the rounds is given.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
RUN = ("-m", "liftseries.cli", "run")
KEY = ("protrusion_mm, graft, months]", "protrusion_mm, months]")


def seconds(tree: Path, *command: str | Path) -> float:
    environment = {**os.environ, "PYTHONPATH": str(tree / "src")}
    started = time.perf_counter()
    subprocess.run([sys.executable, *map(str, command)], check=True, capture_output=True, env=environment, cwd=tree)
    return time.perf_counter() - started


@contextmanager
def copied(revision: str | None, scratch: Path) -> Iterator[Path]:
    """A copy of this tree, or of a commit, whose report can be changed."""
    tree = scratch / (revision or "this tree")
    if revision is None:
        for room in ("src", "workflow", "schemas", "reports", "synthetic_data"):
            shutil.copytree(ROOT / room, tree / room, ignore=shutil.ignore_patterns("output", "release"))
        yield tree
        return
    git = ["git", "-C", str(ROOT), "worktree"]
    subprocess.run([*git, "add", "--detach", str(tree), revision], check=True, capture_output=True)
    try:
        yield tree
    finally:
        subprocess.run([*git, "remove", "--force", str(tree)], check=True)


def one_round(tree: Path) -> tuple[dict[str, float], dict[str, float]]:
    """Seconds of each kind of run, and of each rule's jobs in the cold one."""
    study = tree / "series"
    shutil.rmtree(study, ignore_errors=True)
    shutil.copytree(tree / "synthetic_data", study, ignore=shutil.ignore_patterns("output", "release"))
    plan = study / "study.yaml"  # publication alone, which every checkout has
    text = re.sub(r"(?m)^purpose: .*$", "purpose: publication", plan.read_text(encoding="utf-8"))
    plan.write_text(text, encoding="utf-8")
    took = {"`snakemake --version`": seconds(tree, "-m", "snakemake", "--version")}
    took["cold"] = seconds(tree, *RUN, study)
    rules = by_rule(study / "output")
    took["unchanged"] = seconds(tree, *RUN, study)
    template = tree / "reports" / "report.html.j2"
    template.write_text(template.read_text(encoding="utf-8").replace("</body>", "\n</body>"), encoding="utf-8")
    took["the report's text changed"] = seconds(tree, *RUN, study)
    plan.write_text(plan.read_text(encoding="utf-8").replace(*KEY), encoding="utf-8")
    took["one plan key changed (gain_terms)"] = seconds(tree, *RUN, study)
    return took, rules


def by_rule(output: Path) -> dict[str, float]:
    """Seconds of each rule's jobs, from what Snakemake notes beside the outputs."""
    jobs = {}
    for note in (output / ".snakemake" / "metadata").rglob("*"):
        if note.is_file():
            job = json.loads(note.read_text(encoding="utf-8"))
            jobs[job["rule"], *job["log"]] = job["endtime"] - job["starttime"]
    rules: dict[str, float] = {}
    for (rule, _), took in jobs.items():
        rules[rule] = rules.get(rule, 0.0) + took
    return rules


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--against")
    options.add_argument("--rounds", type=int, default=3)
    options = options.parse_args()
    revisions = [None, *([options.against] if options.against else [])]
    found: dict[str | None, list] = {revision: [] for revision in revisions}
    with tempfile.TemporaryDirectory() as scratch:
        for _ in range(options.rounds):
            for revision in revisions:
                with copied(revision, Path(scratch)) as tree:
                    found[revision].append(one_round(tree))
                shutil.rmtree(tree, ignore_errors=True)
    least = {
        revision: {kind: min(took[kind] for took, _ in rounds) for kind in rounds[0][0]}
        for revision, rounds in found.items()
    }
    yardstick = least[None]["`snakemake --version`"]
    against = f" {options.against}, s | ratio |" if options.against else ""
    print(f"| run | s | × `snakemake --version` |{against}\n|---|---|---|{'---|---|' if against else ''}")
    for kind, took in least[None].items():
        then = least.get(options.against or "", {}).get(kind)
        print(
            f"| {kind} | {took:.1f} | {took / yardstick:.2f} |" + (f" {then:.1f} | {took / then:.2f} |" if then else "")
        )
    for revision, rounds in found.items():
        rules = min(rounds, key=lambda one: one[0]["cold"])[1]
        print(f"\n| rule of {revision or 'this tree'} | s |\n|---|---|")
        for rule, took in sorted(rules.items(), key=lambda item: -item[1]):
            print(f"| {rule} | {took:.1f} |")
        print(f"| all | {sum(rules.values()):.1f} |")


if __name__ == "__main__":
    main()
