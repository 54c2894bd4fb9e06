"""What a release tells, and what an attack on it recovers: by the size of the series, its failures and its labels.

    python tests/benchmarks/release_attack.py [STUDY …]

A made-up series a row, and where a study with a finished run is named, that one too. "Attacked": counts of fewer than
five patients, printed or left by two that are; "recovered": those that an attacker can tell from 1 or from 4; "told":
estimates that leave of those in the house, then those of the headline. Seconds are of this machine. About two minutes.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path += [str(Path(__file__).parents[1] / room) for room in ("release", "report")]

from rare_series import SERIES, made
from release_series import SMALLEST_CELL

from liftseries.release.answers import with_answers
from liftseries.release.check import attacked
from liftseries.release.coarse import with_coarse
from liftseries.release.masking import mask


def row(name: str, material, population) -> str:
    """A row of the table."""
    started = time.perf_counter()
    masked = with_coarse(mask(material, population, SMALLEST_CELL), SMALLEST_CELL)
    masked = with_answers(masked, SMALLEST_CELL)
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
    return row("the study", read_material(plan.output, plan.as_written, {}), read_population(plan.output, plan))


if __name__ == "__main__":
    print("| series | counts known | attacked | recovered | told | of the headline | hiding, s | attack, s |")
    print("|---|---|---|---|---|---|---|---|")
    for called, options in SERIES.items():
        series = made(**options)
        print(row(called, series.whole, series.population), flush=True)
    for study in sys.argv[1:]:
        print(of_study(study), flush=True)
