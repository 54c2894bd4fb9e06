"""What a release tells, and what an attack on it recovers: by the size of the series, its failures and its labels.

    python tests/benchmarks/release_attack.py [STUDY]

A made-up series a row, and where a study with a finished run is named, that one too. "Attacked": counts of fewer than
five patients, printed or left by two that are; "recovered": those that an attacker can tell from 1 or from 4; "told":
estimates that leave of those in the house, then those of the headline. Seconds are of this machine. About two minutes.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1] / "release"))

from release_series import SMALLEST_CELL, Made, made_series_of

from liftseries.release.check import attacked
from liftseries.release.masking import mask

SERIES = {
    "40 patients": {"n_patients": 40},
    "60 patients": {"n_patients": 60},
    "120 patients": {"n_patients": 120},
    "60 patients, no failure": {"n_patients": 60, "failures": 0},
    "60 patients, 1 failure": {"n_patients": 60, "failures": 1},
    "60 patients, 4 failures": {"n_patients": 60, "failures": 4},
    "60 patients, a protocol that one has": {"n_patients": 60, "label_of": 1},
    "60 patients, a centre of three": {"n_patients": 60, "centre_of": 3},
}


def row(name: str, made: Made | None, material=None, population=None) -> str:
    """A row of the table."""
    material, population = (made.whole, made.population) if made else (material, population)
    started = time.perf_counter()
    masked = mask(material, population, SMALLEST_CELL)
    hidden = time.perf_counter() - started
    started = time.perf_counter()
    found = attacked(masked, SMALLEST_CELL)
    tried = time.perf_counter() - started
    whole = material.results[material.results["estimate"].notna()]
    told = masked.material.results["estimate"].notna()
    headline = masked.material.results["headline"].astype(bool)
    return (
        f"| {name} | {found.n_known} | {len(found.targets)} | {len(found.recovered)} "
        f"| {int(told.sum())} of {len(whole)} | {int((told & headline).sum())} of {int(whole['headline'].sum())} "
        f"| {hidden:.0f} | {tried:.1f} |"
    )


def of_study(folder: str) -> str:
    """The row of a study with a finished run."""
    from liftseries.release.population import read_population
    from liftseries.report.kit.material import read_material
    from liftseries.study.plan import read_plan

    plan = read_plan(Path(folder))
    return row("the study", None, read_material(plan.output, plan.as_written, {}), read_population(plan.output, plan))


if __name__ == "__main__":
    print("| series | counts known | attacked | recovered | told | of the headline | hiding, s | attack, s |")
    print("|---|---|---|---|---|---|---|---|")
    for called, options in SERIES.items():
        print(row(called, made_series_of(seed=8, **options)), flush=True)
    for study in sys.argv[1:]:
        print(of_study(study), flush=True)
