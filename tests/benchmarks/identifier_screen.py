"""What the identifier screen costs beside reading the same sites.

    python tests/benchmarks/identifier_screen.py [10000 100000]

One process a size; the study of the tests, its sites repeated under keys of their own. The ratio is what to read.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from studies import tables

from liftseries.intake.checks.identifiers import screen_draft
from liftseries.intake.draft.stack import draft_table
from liftseries.study.plan_files import Source
from liftseries.study.schema import read_schema

SIZES = (10_000, 100_000)


def measure(n_sites: int) -> None:
    import pandas as pd

    sites = tables()["sites"]
    sites = pd.concat([sites] * (n_sites // len(sites)), ignore_index=True)
    sites = sites.assign(site_id=[f"S-{n:06}" for n in range(len(sites))], patient_id=[f"P{n}" for n in sites.index])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sites.csv"
        sites.to_csv(path, index=False)
        started = time.perf_counter()
        draft = draft_table(read_schema()["sites"], (Source("sites.csv", path, None),))
        read = time.perf_counter()
        screen_draft(draft)
        screened = time.perf_counter() - read
    read -= started
    print(f"| {n_sites:,} | {read:.2f} | {screened:.2f} | {(read + screened) / read:.2f} |")


if __name__ == "__main__":
    print("| sites | read, s | screened, s | ratio of both to reading |\n|---|---|---|---|")
    for size in map(int, sys.argv[1:] or SIZES):
        measure(size)
