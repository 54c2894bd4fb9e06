"""What withholding counts costs, by the size of the series and by the number of counts.

    python tests/benchmarks/suppression.py [647 5000]

A made-up series a row, of about two patients for three sites, and of 10 or 30 tables: one rare group against a random
other one, with margins, and the time course in each of its columns. The ratios are to `protect` of the first row.
"Worked out": small counts that the attack finds below the smallest cell; there must be none. Takes about a minute.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from liftseries.disclosure.attack import attack
from liftseries.disclosure.counts import Count, value_of
from liftseries.disclosure.suppression import protect

SIZES = (647, 5000)
TABLES = (10, 30)
SMALLEST_CELL = 5


def series(n_sites: int, n_tables: int) -> tuple[list[Count], np.ndarray]:
    rng = np.random.default_rng(1)
    patients = rng.integers(0, int(0.85 * n_sites), n_sites)
    everyone = np.ones(n_sites, bool)
    counts = [Count("series", everyone, table="flow")]
    group = rng.choice(3, n_sites, p=[0.6, 0.37, 0.03])
    month = rng.choice([6, 12, 24, 60], n_sites, p=[0.01, 0.01, 0.02, 0.96])
    for table in range(n_tables):
        name = f"table {table}"
        other = rng.choice(4, n_sites, p=rng.dirichlet([2, 2, 1, 0.2]))
        for margin, values in (("row", group), ("column", other)):
            counts += [Count(f"{name}, {margin} {v}", values == v, table=name) for v in np.unique(values)]
        counts += [
            Count(f"{name}, cell {r},{c}", (group == r) & (other == c), table=name) for r in range(3) for c in range(4)
        ]
        counts += [Count(f"{name}, all", everyone, table=name)]
        counts += [Count(f"{name}, column {c} by {m}", (other == c) & (month <= m), table=name)
                   for c in range(4) for m in (6, 12, 24)]  # fmt: skip
    return counts, patients


def measure(n_sites: int, n_tables: int, first: float | None) -> float:
    counts, patients = series(n_sites, n_tables)
    started = time.perf_counter()
    protection = protect(counts, patients, SMALLEST_CELL)
    protected = time.perf_counter() - started
    values = {c.name: value_of(c, patients) for c in counts if c.name not in protection.withheld}
    started = time.perf_counter()
    bounds = attack(counts, patients, values).set_index("name").loc[protection.intervals["name"]]
    attacked = time.perf_counter() - started
    worked_out = int((bounds["upper"] < SMALLEST_CELL).sum())
    of = first or protected
    print(
        f"| {n_sites:,} | {len(counts):,} | {len(protection.suppressed):,} | {len(protection.complementary):,} "
        f"| {worked_out} | {protected:.1f} | {protected / of:.2f} | {attacked / of:.2f} |",
        flush=True,
    )
    return of


if __name__ == "__main__":
    print("| sites | counts | small | withheld for them | worked out | protect, s | ratio | attack, ratio |")
    print("|---|---|---|---|---|---|---|---|")
    first = None
    for size in map(int, sys.argv[1:] or SIZES):
        for n_tables in TABLES:
            first = measure(size, n_tables, first)
