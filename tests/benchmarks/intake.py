"""What the intake of a whole study takes beside the reading of its CSV files: all rules within and across its tables.

    python tests/benchmarks/intake.py FOLDER --sites 10000 100000 1000000 [--parquet]

Each size is written by `series_of_size.py` into FOLDER and read in two processes of its own: by pandas alone, every
cell typed, and by `read_study`, with the identifier screen, rows, references, logs and lives checked. Seconds of the
processor, without the start of Python and its libraries; the ratio is what to read.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from pathlib import Path

from series_of_size import ask_for_studies, studies


def measured(study: Path, how: str) -> tuple[float, float]:
    """Seconds and GiB of one way to read a study, in a process of its own."""
    said = subprocess.run([sys.executable, __file__, str(study), "--one", how], capture_output=True, text=True)
    if said.returncode:
        raise SystemExit(said.stderr)
    return tuple(json.loads(said.stdout.splitlines()[-1]))


def read_once(study: Path, how: str) -> None:
    """Reads a study and prints what it took."""
    import pandas as pd
    import pyarrow.csv  # noqa: F401  loaded before the clock starts

    from liftseries.intake import study as intake
    from liftseries.intake.checks import across, identifiers, rows  # noqa: F401
    from liftseries.study.plan import read_plan

    plan = read_plan(study)
    started = time.process_time()
    if how == "intake":
        intake.read_study(plan)
    else:
        for sources in plan.tables.values():
            for source in sources:
                if source.path.suffix == ".parquet":
                    pd.read_parquet(source.path)
                else:
                    pd.read_csv(source.path)
    seconds = time.process_time() - started
    print(json.dumps([seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20]))


def main() -> None:
    options = argparse.ArgumentParser()
    ask_for_studies(options, [10_000, 100_000])
    options.add_argument("--one", choices=["read", "intake"], help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.one:
        read_once(asked.folder, asked.one)
        return

    print("| sites | MB | read, s | taken in, s | ratio | GiB, read and taken in |\n|---|---|---|---|---|---|")
    for n_sites, study in studies(asked):
        size = sum(path.stat().st_size for path in study.iterdir() if path.is_file()) / 1e6
        (read, less), (taken, more) = measured(study, "read"), measured(study, "intake")
        print(
            f"| {n_sites:,} | {size:.0f} | {read:.1f} | {taken:.1f} | {taken / read:.1f} | {less:.2f}, {more:.2f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
