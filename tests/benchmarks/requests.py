"""What each rule takes of memory and time, for `workflow/requests.yaml`: two sizes of the demo, a line between them.

    python tests/benchmarks/requests.py [--copies 1 64] [--keep FOLDER]

The demo's patients are copied so often, under names of their own; all three reports are built, on one core, each job in
a Python of its own as on a cluster. Prints the rules of `workflow/requests.yaml`.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pandas as pd
import yaml

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "synthetic_data"
TABLES = ("patients", "sites", "steps", "visits", "instruments", "stops")
KEYS = ("patient_id", "site_id", "operator")
NOTES = "NOTES_OF_JOBS"
# Comes before all else in each process, and notes at the end of a job its rule, peak memory and time of the processor.
NOTING = f"""
import atexit, json, os, re, resource, sys
def note():
    job = getattr(sys.modules["__main__"], "job", None)
    if log := getattr(job, "log", None):
        rule = re.sub(r"_\\d+$", "", os.path.basename(log).removesuffix(".log"))
        used = resource.getrusage(resource.RUSAGE_SELF)
        with open(os.environ["{NOTES}"], "a") as notes:
            notes.write(json.dumps([rule, used.ru_maxrss / 1024, used.ru_utime + used.ru_stime]) + "\\n")
atexit.register(note)
"""


def write_series(folder: Path, copies: int) -> float:
    """A study folder with the demo's patients so often; gives the MB of its tables."""
    plan = yaml.safe_load((DEMO / "study.yaml").read_text(encoding="utf-8"))
    plan["plan"]["audit"].pop("expected", None)
    folder.mkdir(parents=True)
    read = read_study(read_plan(DEMO)).tables
    for name in TABLES:
        table = read[name]
        ids = [column for column in KEYS if column in table]
        if ids:
            table = pd.concat([table.assign(**{one: f"k{k}-" + table[one] for one in ids}) for k in range(copies)])
        table.to_csv(folder / f"{name}.csv", index=False)
        plan["tables"][name] = f"{name}.csv"
    (folder / "study.yaml").write_text(yaml.safe_dump(plan), encoding="utf-8")
    return sum(path.stat().st_size for path in folder.glob("*.csv")) / 1e6


def costs(study: Path) -> pd.DataFrame:
    """Peak MB and seconds of the processor of each rule's dearest job, of a run of a study."""
    notes, profile = study.parent / f"{study.name}.notes", study.parent / "profile"
    for folder, name, words in ((profile, "config.yaml", "cores: 1\n"), (profile, "sitecustomize.py", NOTING)):
        folder.mkdir(exist_ok=True)
        (folder / name).write_text(words, encoding="utf-8")
    search = os.pathsep.join([str(profile), str(ROOT / "src")])
    subprocess.run(
        [sys.executable, "-m", "liftseries.cli", "run", study, "--profile", profile, "--quiet"],
        env={**os.environ, "PYTHONPATH": search, NOTES: str(notes)},
        check=True,
    )
    rows = [json.loads(line) for line in notes.read_text(encoding="utf-8").splitlines()]
    return pd.DataFrame(rows, columns=["rule", "memory_mb", "seconds"]).groupby("rule").max()


def line(small: float, large: float, sizes: list[float], least: float) -> list[float]:
    """Base and factor a MB through two measurements; a base below `least` is noise."""
    factor = max(0.0, (large - small) / (sizes[1] - sizes[0]))
    return [round(float(max(least, small - factor * sizes[0])), 1), round(float(factor), 2)]


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--copies", type=int, nargs=2, default=[1, 64])
    arguments.add_argument("--keep", type=Path)
    asked = arguments.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = asked.keep or Path(made)
        studies = [folder / f"copies_{n}" for n in asked.copies]
        sizes = [write_series(study, n) for study, n in zip(studies, asked.copies, strict=True)]
        small, large = (costs(study) for study in studies)
    print(f"# tables of {sizes[0]:.2f} and {sizes[1]:.2f} MB")
    for rule in large.index:
        parts = [
            f"{what}: {line(small.at[rule, what], large.at[rule, what], sizes, least)}"
            for what, least in (("memory_mb", 100.0), ("seconds", 1.0))
        ]
        print(f"  {rule}: {{{', '.join(parts)}}}")


if __name__ == "__main__":
    main()
