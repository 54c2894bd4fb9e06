"""How often a comparison's 95 % intervals hold the truth, also where operators differ.

    python tests/benchmarks/comparison_coverage.py [--replicates 1000] [--designs plain …] [--output FILE]

Designs: comparison_designs.py. A row a design, analysis, term and method; `headline` is what the report would quote.
`refused` is the share of series in which the row has a `problem`, with or without an interval; coverage is of the
others. The truth of a ratio is the design's, of a difference in risks that which the method's weights go to (a very
large draw), of depth errors and gain the shift, of survival and months in function 0. With 400 series a coverage of
95 % is known to ± 1.1 points.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from comparison_designs import DESIGNS, SHIFT_MM, STRAYED, Design, Series, difference_of, series_drawn

from liftseries.models.comparison.compared import ALL, AS_DRILLED, asked_of, populations
from liftseries.models.comparison.drilling import ADHERENCE, DEEPER, DEPTH_ERROR, adherence, error_rows
from liftseries.models.comparison.gain import ANALYSIS as GAIN
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import ANALYSIS as PERFORATION
from liftseries.models.comparison.shares import share_rows
from liftseries.models.comparison.survival import RMST, SURVIVAL, followed_rows
from liftseries.models.shared.outcomes import known_perforation
from liftseries.models.shared.results import results_table

ROOT = Path(__file__).parents[2]
ASKED = {
    "groups": "protocol",
    "reference": "A",
    "adjust_for": ["rbh_mid_mm", "smoking"],
    "weights": ["overlap", "inverse_probability"],
}
ROW = ["analysis", "subset", "term", "method"]


def _shares(analysis: str, series: Series, event: np.ndarray, subset: str = ALL, ratio: bool = False) -> list[dict]:
    cases = series.cases.assign(_event=event)
    population = next(populations(cases, {}, asked_of(cases, *ASKED.values()), [subset]))
    return share_rows(analysis, population, population.sites["_event"].to_numpy(bool), ratio=ratio)


def _perforation(series: Series, subset: str = ALL) -> list[dict]:
    return _shares(PERFORATION, series, known_perforation(series.cases)[1], subset, ratio=True)


def _as_drilled(series: Series) -> list[dict]:
    return _perforation(series, AS_DRILLED)


def _deeper(series: Series) -> list[dict]:
    return _shares(DEEPER, series, series.cases["ended"].eq("deeper").to_numpy())


def _adherence(series: Series) -> list[dict]:
    return _shares(ADHERENCE, series, adherence(series.cases)[1])


def _survival(series: Series) -> list[dict]:
    return followed_rows(series.implants, [36.0], asked_of(series.cases, *ASKED.values()), area=False)


def _rmst(series: Series) -> list[dict]:
    return followed_rows(series.implants, [36.0], asked_of(series.cases, *ASKED.values()), area=True)


def _gain(series: Series) -> list[dict]:
    rows = fit_comparison_gain(series.visits, series.cases, *ASKED.values()).rows
    return rows[rows["subset"].eq(ALL)].to_dict("records")


def _depth_error(series: Series) -> list[dict]:
    population = next(populations(series.cases, {}, asked_of(series.cases, *ASKED.values()), [ALL]))
    return error_rows(DEPTH_ERROR, population, np.asarray)


FITS = {
    "perforation": _perforation,
    "survival": _survival,
    "depth_error": _depth_error,
    "as_drilled": _as_drilled,
    "deeper": _deeper,
    "adherence": _adherence,
    "rmst": _rmst,
    "gain": _gain,
}


def rows_of(design: Design, fits, *seed: int) -> pd.DataFrame:
    """The contrasts of a series."""
    series = series_drawn(design, *seed)
    rows = results_table(row for fit in fits for row in FITS[fit](series))
    return rows[rows["term"].str.contains(r"^(?:difference|ratio)\[B\]")]


def truth(design: Design, analysis: str, subset: str, term: str, method: str) -> float:
    """What the row is to hold; NaN of crude rows, which confounding leads elsewhere."""
    if method == "crude" and design.confounding:
        return np.nan
    if analysis in (SURVIVAL, RMST):
        return 0.0
    if analysis in (DEPTH_ERROR, GAIN):
        return SHIFT_MM
    if analysis == ADHERENCE:
        return -difference_of(replace(design, risk=STRAYED * design.risk), method)
    return np.log(design.ratio) if term.startswith("ratio") else difference_of(design, method, subset)


def summary(name: str, draws: pd.DataFrame, n: int) -> pd.DataFrame:
    """A row a term and method of a design."""
    design, told = DESIGNS[name], []
    quoted = draws[draws["headline"]].assign(method="headline", of=lambda d: d["method"])
    for keys, part in [*draws.assign(of=draws["method"]).groupby(ROW, sort=False), *quoted.groupby(ROW, sort=False)]:
        low, high = part["conf_low"].to_numpy(float), part["conf_high"].to_numpy(float)
        truths = {method: truth(design, *keys[:3], method) for method in part["of"].unique()}
        true = part["of"].map(truths).to_numpy(float)
        there = np.isfinite(low) & np.isfinite(true) & part["problem"].eq("").to_numpy()
        if not np.isfinite(true).any():
            continue
        held = (low <= true) & (true <= high)
        coverage = held[there].mean() if there.any() else np.nan
        error = np.sqrt(coverage * (1 - coverage) / max(there.sum(), 1))
        told.append(
            (
                name,
                *keys,
                n,
                1 - there.sum() / n,
                coverage,
                error,
                np.median((high - low)[there]) if there.any() else np.nan,
            )
        )
    columns = ["design", *ROW, "n_replicates", "refused", "coverage", "monte_carlo_error", "median_width"]
    return pd.DataFrame(told, columns=columns)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicates", type=int, default=1000)
    parser.add_argument("--designs", nargs="*", default=list(DESIGNS), choices=list(DESIGNS))
    parser.add_argument("--fits", nargs="*", default=list(FITS), choices=list(FITS))
    parser.add_argument("--output", type=Path, default=ROOT / "reports" / "comparison_coverage.csv")
    options = parser.parse_args()
    tables = []
    for name in options.designs:
        place = list(DESIGNS).index(name)
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            draws = pd.concat(
                [rows_of(DESIGNS[name], options.fits, 20260101, place, k) for k in range(options.replicates)]
            )
        tables.append(summary(name, draws, options.replicates))
        head = tables[-1][tables[-1]["method"].eq("headline")]
        print(head.drop(columns=["method", "n_replicates"]).to_string(index=False, header=len(tables) == 1), flush=True)
        pd.concat(tables).to_csv(options.output, index=False, float_format="%.4f")


if __name__ == "__main__":
    main()
