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

import numpy as np
import pandas as pd

sys.path += [str(Path(__file__).parents[1] / room) for room in ("release", "report")]

import made_series
from release_series import SMALLEST_CELL, made_series_of

from liftseries.geometry.deviations import DEVIATIONS
from liftseries.release.answers import with_answers
from liftseries.release.check import attacked
from liftseries.release.masking import mask

OF_A_LOG = ("achieved_first_mm", "achieved_last_mm", "ended", "as_drilled", *DEVIATIONS)
SERIES = {
    "40 patients": {"n_patients": 40},
    "60 patients": {"n_patients": 60},
    "120 patients": {"n_patients": 120},
    "60 patients, no failure": {"n_patients": 60, "failures": 0},
    "60 patients, 1 failure": {"n_patients": 60, "failures": 1},
    "60 patients, 4 failures": {"n_patients": 60, "failures": 4},
    "60 patients, a protocol that one has": {"n_patients": 60, "label": ("protocol", 1)},
    "60 patients, a centre of three": {"n_patients": 60, "label": ("centre", 3)},
    "60 patients, logs of three": {"n_patients": 60, "logs": 3},
    "12 patients": {"n_patients": 12},
    "5,000 patients": {"n_patients": 5000},
}


def made(n_patients: int, failures: int | None = None, label: tuple[str, int] | None = None, logs: int | None = None):
    """A made-up series of so many failures at most, of a column's label that so many patients have, of so many logs."""
    of_cases, of_visits = made_series.made_cases, made_series.made_visits

    def cases(*options) -> pd.DataFrame:
        table = of_cases(*options)
        if label:
            few = table["patient_id"].isin(table["patient_id"].unique()[: label[1]])
            table[label[0]] = table[label[0]].astype(object).where(~few, "other")
        if logs is not None:
            without = ~table["patient_id"].isin(table["patient_id"].unique()[:logs])
            table.loc[without, [column for column in OF_A_LOG if column in table]] = pd.NA
        return table

    def visits(*options) -> pd.DataFrame:
        table = of_visits(*options)
        failed = np.flatnonzero(table["status"].eq("failed"))[failures:] if failures is not None else []
        table.loc[failed, "status"] = "functioning"
        return table

    made_series.made_cases, made_series.made_visits = cases, visits
    try:
        return made_series_of(n_patients=n_patients, seed=8)
    finally:
        made_series.made_cases, made_series.made_visits = of_cases, of_visits


def row(name: str, material, population) -> str:
    """A row of the table."""
    started = time.perf_counter()
    masked = with_answers(mask(material, population, SMALLEST_CELL), SMALLEST_CELL)
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
