"""What the geometry costs beside bare Parquet reading and writing of the same tables, and its peak memory.

    python tests/benchmarks/geometry.py [10000 100000 1000000]

Simulated sites, eight passes each. Every measurement is a fresh process on one core; its clock starts
after the imports. The ratio is what to read: seconds are the machine's. Goal at a million sites: ratio ≤ 2,
peak ≤ 3 GiB.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZES = (10_000, 100_000, 1_000_000)
REPEATS = 3
N_PASSES = 8
SEED = 20260101
ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS", "ARROW_IO_THREADS"),
    "1",
)
TABLES = ("sites", "steps", "instruments", "stops")
GUIDED, FREEHAND = (7.0, 10.0, 13.0), (12.0, 16.0)  # drill lengths, mm
STOPS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11)  # the last but one is marked for a depth


# ── simulated tables, typed as the checked ones ───────────────────────────────────────────────────


def simulate(folder: Path, n_sites: int) -> None:
    """Writes sites, steps, instruments and stops as checked Parquet tables."""
    import numpy as np

    from liftseries.base.outputs import write_parquet

    rng = np.random.default_rng(SEED)
    instruments, stops = instruments_used(), stops_used()
    sites = simulated_sites(rng, n_sites)
    for name, table in (
        ("sites", sites),
        ("steps", simulated_steps(rng, sites, instruments)),
        ("instruments", instruments),
        ("stops", stops),
    ):
        write_parquet(folder / f"{name}.parquet", as_checked(name, table))


def instruments_used():
    import pandas as pd

    rows = [
        (
            f"{role}-{approach}-{length:g}",
            role,
            approach,
            diameter,
            length,
            7.5 if approach == "guided" else None,
        )
        for approach, lengths in (("guided", GUIDED), ("freehand", FREEHAND))
        for role, diameter in (("widening", 3.2), ("gauge", 2.8))
        for length in lengths
    ]
    names = ["instrument_id", "role", "approach", "diameter_mm", "length_mm", "guide_shank_mm"]
    return pd.DataFrame(rows, columns=names)


def stops_used():
    import pandas as pd

    stops = pd.DataFrame({"stop_id": [f"stop-{mark}" for mark in STOPS], "marking_mm": STOPS})
    depth_marked = stops["marking_mm"] == 10
    stops["marking_means"] = depth_marked.map({True: "depth", False: "length"})
    return stops.assign(marked_on_length_mm=depth_marked.map({True: 13.0, False: None}))


def simulated_sites(rng, n_sites: int):
    import numpy as np
    import pandas as pd

    lowest = rng.integers(25, 80, n_sites) / 10
    guided = rng.random(n_sites) < 0.6
    return pd.DataFrame(
        {
            "site_id": [f"site-{i:07d}" for i in range(n_sites)],
            "patient_id": [f"patient-{i // 2:07d}" for i in range(n_sites)],
            "approach": np.where(guided, "guided", "freehand"),
            "rbh_min_mm": lowest,
            "rbh_max_mm": lowest + rng.integers(0, 20, n_sites) / 10,
            "soft_tissue_mm": np.where(rng.random(n_sites) < 0.2, np.nan, rng.integers(20, 40, n_sites) / 10),
            "implant_diameter_mm": rng.choice([3.6, 4.1, 4.8], n_sites),
            "implant_length_mm": rng.choice([8.0, 9.0, 10.0, 11.0], n_sites),
            "platform_depth_mm": rng.integers(-10, 15, n_sites) / 10,
            "guide_offset_mm": np.where(guided, 10.5, np.nan),
        }
    )


def simulated_steps(rng, sites, instruments):
    """A drill and a gauge in turn, each 1 mm deeper than the pair before; stops and lengths as they fall."""
    import numpy as np
    import pandas as pd

    n = len(sites) * N_PASSES
    site = np.repeat(np.arange(len(sites)), N_PASSES)
    step_no = np.tile(np.arange(1, N_PASSES + 1), len(sites))
    guided = (sites["approach"] == "guided").to_numpy()[site]
    instrument = np.empty(n, dtype=object)
    for approach, here, lengths in (("guided", guided, GUIDED), ("freehand", ~guided, FREEHAND)):
        length = rng.choice(lengths, here.sum())
        role = np.where(step_no[here] % 2, "widening", "gauge")
        names = instruments.set_index(["role", "approach", "length_mm"])["instrument_id"]
        instrument[here] = names.loc[pd.MultiIndex.from_arrays([role, np.full(here.sum(), approach), length])]
    length = instruments.set_index("instrument_id")["length_mm"].loc[instrument].to_numpy()
    wanted = sites["rbh_min_mm"].to_numpy()[site] - 1 + (step_no - 1) // 2
    takes_off = np.clip(np.round(length - wanted), 0, length - 1).astype(int)
    stop = np.array([None, *(f"stop-{mark}" for mark in STOPS)], dtype=object)[np.minimum(takes_off, len(STOPS))]
    drills = step_no % 2 == 1
    return pd.DataFrame(
        {
            "site_id": sites["site_id"].to_numpy()[site],
            "step_no": step_no,
            "instrument_id": instrument,
            "stop_id": stop,
            "intended_depth_mm": np.where(rng.random(n) < 0.5, np.round(wanted, 1), np.nan),
            "speed_rpm": np.where(drills, rng.choice([600.0, 800.0, 1200.0], n, p=[0.5, 0.45, 0.05]), np.nan),
            "finding": np.where(step_no < N_PASSES, "closed", rng.choice(["open", "not_tested"], n)),
        }
    )


def as_checked(name: str, table):
    """Every column of the schema, in order and type; what was not simulated is its first level or empty."""
    import pandas as pd

    from liftseries.study.schema import read_schema

    columns = {}
    for column in read_schema()[name].columns.values():
        empty = column.levels[0] if column.levels and column.required else None
        values = table[column.name] if column.name in table else pd.Series([empty] * len(table), dtype=object)
        if column.type == "category":
            columns[column.name] = pd.Categorical(values, categories=column.levels)
        elif column.type == "integer":
            columns[column.name] = values.astype("Int64")
        elif column.type == "number":
            columns[column.name] = values.astype(float)
        else:
            columns[column.name] = values.astype(object).where(values.notna(), None)
    return pd.DataFrame(columns)


# ── what is measured ──────────────────────────────────────────────────────────────────────────────


def bare(folder: Path) -> float:
    """Reads sites and log, writes tables shaped as the derived ones; their columns lie ready in memory."""
    import pandas as pd

    from liftseries.base.outputs import write_parquet
    from liftseries.geometry.derived import STEP_COLUMNS

    measured = pd.read_parquet(folder / "derived_steps.parquet", columns=list(STEP_COLUMNS))
    derived_sites = pd.read_parquet(folder / "derived_sites.parquet")
    started = time.perf_counter()
    pd.read_parquet(folder / "sites.parquet")
    steps = pd.read_parquet(folder / "steps.parquet")
    write_parquet(folder / "bare_steps.parquet", pd.DataFrame({**steps, **measured}, copy=False))
    write_parquet(folder / "bare_sites.parquet", derived_sites)
    return time.perf_counter() - started


def geometry(folder: Path) -> float:
    """Reads sites and log, derives, writes the derived tables."""
    import pandas as pd

    from liftseries.base.outputs import write_parquet
    from liftseries.geometry.derived import derive
    from liftseries.geometry.limits import Limits

    limits = Limits({"guided": 1.0, "freehand": 1.0}, 1.0, 0.05, 800.0, 5.0)
    started = time.perf_counter()
    tables = [pd.read_parquet(folder / f"{name}.parquet") for name in TABLES]
    steps, sites = derive(*tables, limits, centre=tables[0]["operator"])
    write_parquet(folder / "derived_steps.parquet", steps)
    write_parquet(folder / "derived_sites.parquet", sites)
    return time.perf_counter() - started


def in_this_process(what: str, folder: Path, n_sites: int) -> None:
    """Simulates or measures, and prints seconds and peak GiB as JSON."""
    import pyarrow

    pyarrow.set_cpu_count(1)
    took = simulate(folder, n_sites) if what == "simulate" else {"bare": bare, "geometry": geometry}[what](folder)
    peak_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20  # kibibytes on Linux
    print(json.dumps({"s": took, "peak_gib": peak_gib}))


def in_a_fresh_process(what: str, folder: Path, n_sites: int) -> dict[str, float]:
    command = [sys.executable, __file__, "--one", what, str(folder), str(n_sites)]
    core = max(os.sched_getaffinity(0))
    done = subprocess.run(
        command,
        check=True,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, **ONE_THREAD},
        preexec_fn=lambda: os.sched_setaffinity(0, {core}),
    )
    return json.loads(done.stdout)


def main(sizes: list[int]) -> None:
    print("| sites | bare I/O s | GiB | I/O + geometry s | GiB | ratio |\n|---|---|---|---|---|---|")
    for n_sites in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch)
            in_a_fresh_process("simulate", folder, n_sites)
            runs = {"geometry": [], "bare": []}
            for _ in range(REPEATS):  # in turn, so that a busy minute of the machine hits both
                for what, results in runs.items():
                    results.append(in_a_fresh_process(what, folder, n_sites))
        bare_s, geometry_s = (statistics.median(run["s"] for run in runs[what]) for what in ("bare", "geometry"))
        bare_gib, geometry_gib = (max(run["peak_gib"] for run in runs[what]) for what in ("bare", "geometry"))
        print(
            f"| {n_sites:,} | {bare_s:.2f} | {bare_gib:.2f} | {geometry_s:.2f} | {geometry_gib:.2f} "
            f"| {geometry_s / bare_s:.2f} |",
            flush=True,
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        in_this_process(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]))
    else:
        main([int(size) for size in sys.argv[1:]] or list(SIZES))
