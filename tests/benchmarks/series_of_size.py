"""Writes an invented study of any size: the demo's patients drawn with replacement, measured numbers jittered.

    python tests/benchmarks/series_of_size.py FOLDER --sites 100000 [--parquet]

A drawn patient brings all sites, passes and visits under keys of its own and goes to one of so many centres as the size
asks for (6 of 640 sites, 20 of 10^4, 60 of 10^5, 500 of 10^6), to one of some three operators there; centres differ in
size as the demo's do. All three reports are asked for. Nothing is looped over, so that 10^6 sites take a minute or two.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import yaml

from liftseries.intake.study import read_study
from liftseries.study.oddities import measured_columns
from liftseries.study.plan import read_plan

DEMO = Path(__file__).parents[2] / "synthetic_data"
SEED = 20261129
CENTRES = {640: 6, 10_000: 20, 100_000: 60, 1_000_000: 500}  # sites -> centres, on a line of logarithms between
OPERATORS_A_CENTRE = 2.8
SPREAD_OF_SIZES = 0.6  # of the logarithm of a centre's or operator's share
TENTHS = 4  # of a month or a millimetre that a number is moved at most
WHOLE = ("torque_ncm", "isq")  # moved by whole units
AS_DRAWN = ("rbh_min_mm", "rbh_max_mm", "implant_diameter_mm", "implant_length_mm", "platform_depth_mm")


def n_centres(n_sites: int) -> int:
    """How many centres a series of so many sites has."""
    at = np.interp(np.log(n_sites), np.log(list(CENTRES)), np.log(list(CENTRES.values())))
    return max(2, round(float(np.exp(at))))


def rows_below(table: pd.DataFrame, key: str, parents: pd.Index, drawn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of a table that belong to drawn parents, and which of the drawn each belongs to.

    Parameters
    ----------
    table, key : its rows and the column that names their parent
    parents : the parents' names
    drawn : shape (n,), positions in `parents`
    """
    of_parent = pd.Categorical(table[key].astype(str), categories=parents.astype(str)).codes
    order = np.argsort(of_parent, kind="stable")
    counts = np.bincount(of_parent, minlength=len(parents))
    starts, n = np.cumsum(counts) - counts, counts[drawn]
    within = np.arange(n.sum()) - np.repeat(np.cumsum(n) - n, n)
    return order[np.repeat(starts[drawn], n) + within], np.repeat(np.arange(len(drawn)), n)


def moved(values: pd.Series, rng: np.random.Generator, unit: float = 0.1) -> pd.Series:
    """Numbers but nought moved by some units, none to nought or below."""
    by = unit * rng.integers(-TENTHS, TENTHS + 1, len(values))
    return values.where((values == 0) | (values + by < unit), values + by).round(1)


def drawn_series(demo: dict[str, pd.DataFrame], n_sites: int, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """The tables of a series of so many sites, or a few less."""
    patients, sites = demo["patients"].reset_index(drop=True), demo["sites"].reset_index(drop=True)
    n_demo = patients["patient_id"].map(sites["patient_id"].value_counts()).fillna(0).to_numpy(int)
    drawn = rng.integers(0, len(patients), 2 * n_sites // max(1, int(n_demo.mean())) + 10)
    drawn = drawn[np.cumsum(n_demo[drawn]) <= n_sites]
    site_rows, patient_of = rows_below(sites, "patient_id", pd.Index(patients["patient_id"]), drawn)

    n = n_centres(n_sites)
    share = np.exp(SPREAD_OF_SIZES * rng.standard_normal(n))
    centre = np.sort(rng.choice(n, len(drawn), p=share / share.sum()))
    operators = np.maximum(1, rng.poisson(OPERATORS_A_CENTRE - 1, n) + 1)
    operator = (np.cumsum(operators) - operators)[centre] + np.floor(rng.random(len(drawn)) ** 1.3 * operators[centre])
    labels = np.array([f"c{i:03d}" for i in range(n)], object)
    in_centre = np.arange(len(drawn)) - np.searchsorted(centre, centre)
    ids = pd.Series(labels[centre]) + "-" + pd.Series(in_centre).astype(str).str.zfill(5)

    made = dict(demo)
    made["patients"] = patients.iloc[drawn].reset_index(drop=True).assign(patient_id=ids, centre=labels[centre])
    table = sites.iloc[site_rows].reset_index(drop=True)
    table["patient_id"] = ids.to_numpy()[patient_of]
    table["site_id"] = table["patient_id"] + "-" + table["tooth"].astype(int).astype(str)
    doubled = table.groupby("site_id").cumcount()
    table["site_id"] = table["site_id"].where(doubled == 0, table["site_id"] + "b")
    table["operator"] = "op" + pd.Series(operator[patient_of].astype(int)).astype(str).str.zfill(4)
    by_year = table.sort_values(["operator", "surgery_year"], kind="stable")
    table["operator_case_no"] = by_year.groupby("operator").cumcount() + 1
    by = 0.1 * rng.integers(-TENTHS, TENTHS + 1, len(table))
    by = np.where((table["rbh_min_mm"] + by > 0.5) & (table["rbh_max_mm"] + by < 20), by, 0)
    table["rbh_min_mm"], table["rbh_max_mm"] = (table[c] + by for c in ("rbh_min_mm", "rbh_max_mm"))
    made["sites"] = table.round({"rbh_min_mm": 1, "rbh_max_mm": 1})
    for name in ("steps", "visits"):
        rows, site_of = rows_below(demo[name], "site_id", pd.Index(sites["site_id"]), site_rows)
        below = demo[name].iloc[rows].reset_index(drop=True)
        made[name] = below.assign(site_id=made["sites"]["site_id"].to_numpy()[site_of])
    made["visits"]["months"] = moved(made["visits"]["months"], rng)
    for name in ("sites", "visits"):
        for column in measured_columns()[name]:
            if column in made[name] and column not in AS_DRAWN:
                made[name][column] = moved(made[name][column], rng, 1.0 if column in WHOLE else 0.1)
    return made


def write_series_of_size(folder: Path, n_sites: int, parquet: bool = False) -> float:
    """Writes the study folder; gives the MB of its tables."""
    plan = yaml.safe_load((DEMO / "study.yaml").read_text(encoding="utf-8"))
    plan["plan"]["audit"].pop("expected", None)
    plan["study"] |= {"id": f"series_of_{n_sites}", "title": f"An invented series of {n_sites:,} sites"}
    folder.mkdir(parents=True, exist_ok=True)
    demo = read_study(read_plan(DEMO)).tables
    tables = drawn_series(demo, n_sites, np.random.default_rng([SEED, n_sites]))
    plan["tables"] = {name: f"{name}.{'parquet' if parquet else 'csv'}" for name in tables}
    for name, file in plan["tables"].items():
        if parquet:
            tables[name].to_parquet(folder / file, index=False)
        else:
            tables[name].to_csv(folder / file, index=False, encoding="utf-8")
    (folder / "study.yaml").write_text(yaml.safe_dump(plan, sort_keys=False), encoding="utf-8")
    return sum((folder / file).stat().st_size for file in plan["tables"].values()) / 1e6


def ask_for_studies(options: argparse.ArgumentParser, sizes: list[int]) -> None:
    """What `studies` takes: FOLDER --sites … [--parquet] [--keep]."""
    options.add_argument("folder", type=Path)
    options.add_argument("--sites", type=int, nargs="+", default=sizes)
    options.add_argument("--parquet", action="store_true")
    options.add_argument("--keep", action="store_true", help="a series that is there is not drawn again")


def studies(asked: argparse.Namespace) -> Iterator[tuple[int, Path]]:
    """Each size asked for and the folder of its study, written before it is given."""
    for n_sites in asked.sites:
        study = asked.folder / f"sites_{n_sites}"
        if not (asked.keep and study.is_dir()):
            write_series_of_size(study, n_sites, asked.parquet)
        yield n_sites, study


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("folder", type=Path)
    options.add_argument("--sites", type=int, required=True)
    options.add_argument("--parquet", action="store_true")
    asked = options.parse_args()
    print(f"{write_series_of_size(asked.folder, asked.sites, asked.parquet):.1f} MB")


if __name__ == "__main__":
    main()
