"""How long oddities are looked for, and how many chance makes: the demo series many times over, numbers jittered.

python tests/benchmarks/oddities.py synthetic_data
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd

from liftseries.intake.oddities.listed import list_oddities
from liftseries.intake.study import check_study
from liftseries.study.oddities import measured_columns
from liftseries.study.plan import read_plan

MANY = (10_000, 100_000)  # sites
TENTHS = 8  # to either side; of torque and stability whole units


def many_times(tables: dict[str, pd.DataFrame], n_sites: int, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """The tables over and over, ids and operators of each copy its own, measured numbers jittered."""
    n = -(-n_sites // len(tables["sites"]))
    made = dict(tables)
    for name in ("patients", "sites", "steps", "visits"):
        table = pd.concat([tables[name]] * n, ignore_index=True)
        copy = np.repeat(np.arange(n), len(tables[name])).astype(str)
        for column in {"patient_id", "site_id", "operator"} & set(table):
            table[column] = table[column].astype(str) + "x" + copy
        for column in measured_columns().get(name, ()):
            unit = 1 if column in ("torque_ncm", "isq") else 0.1
            table[column] = (table[column] + unit * rng.integers(-TENTHS, TENTHS + 1, len(table))).round(1)
        made[name] = table
    return made


def main(study: str) -> None:
    """Prints seconds, their ratio, and the entries that two rules of copies tell of."""
    plan, rng, took = read_plan(study), np.random.default_rng(1), []
    tables = check_study(plan)[0].tables
    for n_sites in MANY:
        made = many_times(tables, n_sites, rng)
        places = {name: pd.DataFrame({"file": name, "row": np.arange(len(table)) + 2}) for name, table in made.items()}
        started = time.perf_counter()
        listed = list_oddities(made, places, plan.data_until, plan.lift_base_radius_mm)
        took.append(time.perf_counter() - started)
        copies = listed["rule"].isin(["sites_equal", "visits_equal"]).sum()
        print(f"{len(made['sites'])} sites, {len(made['visits'])} visits: {took[-1]:.1f} s, {copies} told as copies")
    print(f"ratio {took[1] / took[0]:.1f}")


if __name__ == "__main__":
    main(sys.argv[1])
