"""How often the 95 % intervals hold the truth: every row of results.csv that states one of the estimands, by method.

    python tests/benchmarks/coverage.py [--replicates 1000] [--designs sparse …] [--fits survival_km …]
        [--cores 2] [--draws FOLDER]

Sparse, clustered series of which the truth is known, eleven designs (see designs.py); each replicate has its own
generator, so the split over processes changes nothing. Chunks of replicates stay in FOLDER, and what is there is not
drawn again: delete the folder after a change of an estimator. Writes reports/coverage.csv of all the chunks there.

A row is (analysis, term, method) of results.csv: the headline's and, beside it, those that equal R or take sites as
independent. The method `headline` is whichever of them the report quotes in each series. `not_fitted` is the share of
series in which the row has no interval or is not quoted; `coverage`, its `monte_carlo_error` and `median_width` (on the
row's own scale) are of the others. With 300 series a coverage of 95 % is known to ± 1.3 points, with 1000 to ± 0.7.
All methods of one estimand are held to one truth, that of the headline (see designs.py), though a GEE, which weighs
patients, goes elsewhere where the number of sites tells of the risk; but risks from a spline are held to the real ones.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy is imported: one process a core

import argparse
import sys
import tempfile
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
from clustered_series import Series, scores_drawn, series_drawn
from designs import DESIGNS, MONTH
from scipy.special import ndtr

from liftseries.base.named import function_named
from liftseries.estimators.proportion import largest_risk

ROOT = Path(__file__).parents[2]
SEED = 20260101
A_CHUNK = 25
TERMS = ["rbh_mid_mm", "smoking"]
GAIN_TERMS = ["protrusion_mm", "smoking", "months"]
RESAMPLES = 200  # of the patients, for Turnbull's band
AT = f"{MONTH:g}"
ROW = ["analysis", "term", "method"]
TRUTHS = {design.name: design.truth for design in DESIGNS.values()}
SPLINE = "standardised"  # held to the real risks; all others to those of the straight line
QUOTED = "headline"  # in place of a method: whichever of them is the headline in a series
COLUMNS = ["design", *ROW, "replicate", "low", "high", "headline", "seconds"]

# (analysis, term) of results.csv, the subset after the term where there is one -> a key of `Design.truth`
ESTIMANDS = {
    ("perforation.rate", "rate"): "share",
    ("perforation.rate", "bound at no event"): "bound",
    **{
        (f"perforation.{model}", term): f"log_odds {term}"
        for model, term in product(("gee", "firth"), ("rbh_mid_mm", "smoking[current]"))
    },
    ("perforation.risk", "4"): "risk at 4",
    ("perforation.risk", "7"): "risk at 7",
    **{
        (f"perforation.{analysis}", f"{what} rbh_band={band}"): f"{what} rbh_band={band}"
        for (analysis, what), band in product((("rate", "rate"), ("risk_band", "risk")), ("<4", "4 to <6", "≥6"))
    },
    ("perforation.risk_difference", "rbh_mid_mm: 7 to 4"): "risk_difference",
    **{(f"survival.{curve}", AT): "survival" for curve in ("km", "interval_curve", "turnbull")},
    ("survival.competing", AT): "failure",
    ("survival.rmst", AT): "mean_months",
    **{
        (f"survival.{model}", term): f"{scale} {term}"
        for (model, scale), term in product(
            (("cox", "log_hazard"), ("firth_cox", "log_hazard"), ("interval", "log_time")),
            ("rbh_mid_mm", "smoking[current]"),
        )
    },
    **{("gain.mixed", term): f"gain {term}" for term in ("protrusion_mm", "smoking[current]", "months")},
    ("gain.mixed", "mean at 12"): "gain at 12",
    **{("depth.agreement", term): f"depth_{term}" for term in ("bias", "low", "high")},
    **{("depth.ended", how): f"ended {how}" for how in ("at_plan", "opened_before", "deeper", "short")},
    ("measurement.icc", "last_error_mm"): "depth_alike",
    ("bone.marginal", "months"): "marginal months",
    ("bone.marginal", "healing[transmucosal]"): "marginal healing[transmucosal]",
    ("bone.marginal", "mean at 12"): "marginal at 12",
    ("bone.marginal", "beyond 2 at 12"): "marginal beyond 2 at 12",
}


# Fit -> function of liftseries.models, the tables of a `Series` that it takes, and what else
FITS = {
    "perforation_rate": ("perforation.rate:fit_perforation_rate", ["cases"], ["rbh_band"]),
    "perforation_gee": ("perforation.gee:fit_perforation_gee", ["cases"], TERMS),
    "perforation_firth": ("perforation.firth:fit_perforation_firth", ["cases"], TERMS),
    "perforation_risk": ("perforation.risk:fit_perforation_risk", ["cases"], TERMS, {"rbh_mid_mm": [7.0, 4.0]}),
    "survival_km": ("survival.km:fit_survival_km", ["implants"], [MONTH]),
    "survival_rmst": ("survival.rmst:fit_survival_rmst", ["implants"], [MONTH]),
    "survival_competing": ("survival.competing:fit_survival_competing", ["implants"], [MONTH]),
    "survival_cox": ("survival.cox:fit_survival_cox", ["implants"], TERMS),
    "survival_firth_cox": ("survival.firth_cox:fit_survival_firth_cox", ["implants"], TERMS),
    "survival_interval": ("survival.interval:fit_survival_interval", ["seen"], TERMS, [MONTH]),
    "gain_mixed": ("gain.mixed:fit_gain_mixed", ["visits", "cases"], GAIN_TERMS),
    "bone_marginal": ("gain.marginal:fit_bone_marginal", ["visits", "cases"], [12.0]),
    "depth_agreement": ("depth.agreement:fit_depth_agreement", ["cases"]),
    "depth_ended": ("depth.shares:fit_depth_ended", ["cases"]),
    "measurement_icc": ("sensitivity.icc:fit_measurement_icc", ["cases", "visits"]),
}


def rows_of(fit: str, series: Series) -> pd.DataFrame:
    """What a fit says of a series, as rows of results.csv."""
    if fit in OTHER_FITS:
        return OTHER_FITS[fit](series)
    function, tables, *more = FITS[fit]
    found = function_named(f"liftseries.models.{function}")
    return found(*(getattr(series, table) for table in tables), *more).rows


def one_sided_bound(series: Series) -> pd.DataFrame:
    """The bound's worst case: the true risk just above it. It holds where an event is seen; in units of that risk."""
    patient = pd.factorize(series.cases["patient_id"])[0]
    scores = scores_drawn(np.random.default_rng([*series.seed, 1]), patient, series.design.alike)
    lowest = ndtr(scores.min())  # no site has the event when the risk is below it
    chances = {"patients": series.design.n_patients, "sites": len(patient)}
    return pd.DataFrame(
        {
            "analysis": "perforation.rate",
            "subset": "all",
            "term": "bound at no event",
            "method": list(chances),
            "conf_low": 0.0,
            "conf_high": [0.0 if lowest > largest_risk(n) else 1.0 for n in chances.values()],
            "headline": False,
        }
    )


def survival_turnbull(series: Series) -> pd.DataFrame:
    from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws

    draws = turnbull_draws(series.seen, [MONTH], SEED, 0, RESAMPLES)
    return fit_survival_turnbull(series.seen, [MONTH], draws).rows


OTHER_FITS = {one.__name__: one for one in (one_sided_bound, survival_turnbull)}
ALL_FITS = (*FITS, *OTHER_FITS)


# ── replicates, chunks, summary ───────────────────────────────────────────────────────────────────


def answers(key: str, replicate: int, fit: str) -> pd.DataFrame:
    """The intervals of a fit in one series of a design; NaN where there is none."""
    design = DESIGNS[key]
    series = series_drawn(design, SEED, list(DESIGNS).index(key), replicate)
    started = time.perf_counter()
    rows = rows_of(fit, series)
    seconds = time.perf_counter() - started
    rows = rows.assign(term=rows["term"].where(rows["subset"] == "all", rows["term"] + " " + rows["subset"]))
    found = pd.DataFrame(
        {
            "design": design.name,
            **{column: rows[column] for column in ROW},
            "replicate": replicate,
            "low": rows["conf_low"].astype(float),
            "high": rows["conf_high"].astype(float),
            "headline": rows["headline"].astype(bool),
            "seconds": seconds,
        }
    )
    asked = [row in ESTIMANDS for row in zip(found["analysis"], found["term"], strict=True)]
    return found[np.array(asked) & ~found["method"].str.startswith("one_sided")]


def draw_chunk(folder: Path, fit: str, key: str, first: int) -> Path:
    """Replicates first … first + A_CHUNK - 1 of a fit and a design, unless they are there."""
    path = folder / f"{fit}_{key}_{first}.csv"
    if not path.is_file():
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            drawn = [answers(key, replicate, fit) for replicate in range(first, first + A_CHUNK)]
        half_done = path.with_suffix(f".{os.getpid()}")
        pd.concat(drawn)[COLUMNS].to_csv(half_done, index=False)
        half_done.replace(path)
    return path


def truth_of(design: str, analysis: str, term: str, method: str) -> float:
    """What a row is to hold; NaN where the design does not know it."""
    name = ESTIMANDS[analysis, term]
    if method == SPLINE and f"real {name}" in TRUTHS[design]:
        name = f"real {name}"
    return TRUTHS[design].get(name, np.nan)


def summary(draws: pd.DataFrame) -> pd.DataFrame:
    """A row a design and row of results.csv, and one of whichever method the report quotes in each series."""
    keys = draws[["design", *ROW]].drop_duplicates()
    truth = keys.assign(truth=[truth_of(*key) for key in keys.itertuples(index=False)])
    draws = draws.merge(truth[truth["truth"].notna()], on=["design", *ROW])
    quoted = draws[draws["headline"]].assign(method=QUOTED)
    rows = []
    for names, part in pd.concat([quoted, draws]).groupby(["design", *ROW], sort=False):
        n = int(part["drawn"].iloc[0])
        fitted = part[part["low"].notna() & part["high"].notna()]
        covered = fitted["truth"].between(fitted["low"], fitted["high"]).mean()
        rows.append(
            {
                **dict(zip(["design", *ROW], names, strict=True)),
                "n_replicates": n,
                "not_fitted": 1 - len(fitted) / n,
                "coverage": covered,
                "monte_carlo_error": np.sqrt(covered * (1 - covered) / max(len(fitted), 1)),
                "median_width": (fitted["high"] - fitted["low"]).median(),
            }
        )
    return pd.DataFrame(rows)


def all_draws(folder: Path) -> pd.DataFrame:
    """What the folder holds, in the order of ALL_FITS and DESIGNS; `drawn` is how many series of the fit and design."""
    parts = []
    for fit, key in product(ALL_FITS, DESIGNS):
        paths = sorted(folder.glob(f"{fit}_{key}_[0-9]*.csv"))
        parts += [
            pd.read_csv(path, usecols=COLUMNS, dtype={"term": str}).assign(drawn=A_CHUNK * len(paths)) for path in paths
        ]
    return pd.concat(parts, ignore_index=True)


def quoted_rows(table: pd.DataFrame) -> str:
    """What the report quotes, as the Markdown table of README.md: coverage in %, the median width in brackets."""
    rows = table[table["method"] == QUOTED]
    told = [
        f"{100 * covered:.1f} ({width:.2g})"
        for covered, width in zip(rows["coverage"], rows["median_width"], strict=True)
    ]
    wide = rows.assign(told=told).pivot(index=["analysis", "term"], columns="design", values="told").fillna("")
    wide = wide.reindex(columns=[design.name for design in DESIGNS.values()], fill_value="")
    lines = [["row", *DESIGNS], ["---"] * (len(DESIGNS) + 1)]
    lines += [[" ".join(names), *cells] for names, cells in zip(wide.index, wide.to_numpy().tolist(), strict=True)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicates", type=int, default=1000)
    parser.add_argument("--designs", nargs="*", default=list(DESIGNS), choices=list(DESIGNS))
    parser.add_argument("--fits", nargs="*", default=list(ALL_FITS), choices=ALL_FITS)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--draws", type=Path, default=Path(tempfile.gettempdir()) / "liftseries_coverage")
    parser.add_argument("--output", type=Path, default=ROOT / "reports" / "coverage.csv")
    options = parser.parse_args()
    options.draws.mkdir(parents=True, exist_ok=True)
    chunks = list(product(range(0, options.replicates, A_CHUNK), options.designs, options.fits))
    with ProcessPoolExecutor(options.cores) as pool:
        jobs = [pool.submit(draw_chunk, options.draws, fit, key, first) for first, key, fit in chunks]
        for done, job in enumerate(jobs, 1):
            job.result()
            print(f"\r{done} of {len(jobs)} chunks", end="", file=sys.stderr)
    draws = all_draws(options.draws)
    table = summary(draws)
    table.to_csv(options.output, index=False, float_format="%.4f")
    print(f"\n{quoted_rows(table)}")
    print("\nSeconds a fit and series:")
    print(draws.groupby("analysis")["seconds"].mean().to_string(float_format="{:.4f}".format))


if __name__ == "__main__":
    main()
