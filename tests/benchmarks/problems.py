"""What `check` costs where every row is wrong, beside the same rows right.

    python tests/benchmarks/problems.py [20000 100000]

One process a line; the study of the tests, its patients and sites repeated under keys of their own, one cell of each
site wrong (a height out of range) or four (a patient who is not there, a tooth, a word for a level too). The right
heights are as many different ones as the wrong: a reader looks at each different cell once. The ratio is what to read.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

SIZES = (20_000, 100_000)


def measure(n_sites: int, n_wrong: int) -> None:
    """Prints seconds of the processor, peak GiB, problems and lines of the screen."""
    import pandas as pd
    from studies import write_study

    from liftseries.intake.screens import screen_of
    from liftseries.intake.study import check_study
    from liftseries.study.plan import read_plan

    numbers = range(n_sites)

    def patients(table: pd.DataFrame) -> pd.DataFrame:
        return table.iloc[[0] * n_sites].assign(patient_id=[f"P{i}" for i in numbers])

    def sites(table: pd.DataFrame) -> pd.DataFrame:
        table = table.iloc[[i % len(table) for i in numbers]].reset_index(drop=True)
        table = table.assign(site_id=[f"S{i}" for i in numbers], patient_id=[f"P{i}" for i in numbers])
        table = table.assign(operator_case_no=[str(i + 1) for i in numbers])
        table = table.assign(rbh_max_mm=[f"{8 + i / n_sites:.5f}" for i in numbers])  # as many as the wrong ones
        faults = {
            "rbh_max_mm": [f"{21 + i / n_sites:.5f}" for i in numbers],
            "patient_id": [f"Q{i}" for i in numbers],
            "tooth": "11",
            "septum": "ja",
        }
        return table.assign(**dict(list(faults.items())[:n_wrong]))

    with tempfile.TemporaryDirectory() as folder:
        changes = {"patients": patients, "sites": sites, "steps": None, "visits": None}
        plan = read_plan(write_study(Path(folder) / "study", changes))
        started = time.process_time()
        intake, problems = check_study(plan)
        lines = screen_of(plan, intake, intake.causes).count("\n") if problems else 0
        took = time.process_time() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"{took:.2f} {peak:.2f} {len(problems)} {lines}")


def _measured(n_sites: int, n_wrong: int) -> list[str]:
    call = [sys.executable, __file__, "once", str(n_sites), str(n_wrong)]
    return subprocess.run(call, capture_output=True, encoding="utf-8", check=True).stdout.split()


if __name__ == "__main__":
    if sys.argv[1:2] == ["once"]:
        measure(*map(int, sys.argv[2:]))
        sys.exit()
    print("| sites | wrong cells a row | right, s | wrong, s | ratio | GiB, right and wrong | problems | lines |")
    print("|---|---|---|---|---|---|---|---|")
    for size in map(int, sys.argv[1:] or SIZES):
        right = _measured(size, 0)
        for n_wrong in (1, 4):
            wrong = _measured(size, n_wrong)
            ratio = float(wrong[0]) / float(right[0])
            told = f"{right[1]}, {wrong[1]} | {int(wrong[2]):,} | {wrong[3]}"
            print(f"| {size:,} | {n_wrong} | {right[0]} | {wrong[0]} | {ratio:.2f} | {told} |", flush=True)
