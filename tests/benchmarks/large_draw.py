"""What the survival models' estimates go to with ever more patients, where quadrature does not tell: large_draw.csv.

    python tests/benchmarks/large_draw.py [--cores 1]

Each design in which proportional hazards or independent censoring do not hold is drawn CHUNKS times with A_CHUNK
patients; the truth is the mean over the draws and `error` its standard error. `share` and, where patients do not stay
away by frailty, `survival` and `mean_months` are known exactly and stand there as a check: `z` is how many errors the
draw lies from them.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy is imported: one process a core

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import pandas as pd
from clustered_series import Series, series_drawn
from designs import DESIGNS, LOG_HAZARD, MONTH, TRUTHS, Design

from liftseries.estimators.cox import PartialLikelihood, inverse_information
from liftseries.estimators.weibull import weibull_interval

SEED, CHUNKS, A_CHUNK = 20260103, 25, 40_000


def covariates(cases: pd.DataFrame) -> np.ndarray:
    return np.column_stack([cases["rbh_mid_mm"], cases["smoking"] == "current"]).astype(float)


def log_hazards(series: Series) -> np.ndarray:
    """Cox's estimate of all implants as they are, shape (2,)."""
    x = covariates(series.implants)
    months, failed = (series.implants[name].to_numpy() for name in ("months", "failed"))
    likelihood = PartialLikelihood(months, failed, x - x.mean(axis=0), "efron")
    beta = np.array(list(LOG_HAZARD.values()))
    for _ in range(6):
        state = likelihood(beta)
        beta = beta + inverse_information(state.information) @ state.score
    return beta


def log_times(series: Series) -> np.ndarray:
    """Weibull's estimate of all implants as the visits tell them, shape (2,)."""
    seen = series.seen[series.seen["failed"] | (series.seen["last_in_function"] > 0)]
    x = np.column_stack([np.ones(len(seen)), covariates(seen)])
    left, right = seen["last_in_function"], seen["months"].where(seen["failed"], np.inf)
    return weibull_interval(left.to_numpy(), right.to_numpy(), x, seen["patient_id"].to_numpy()).parameters[1:3]


def curve(series: Series) -> tuple[float, float]:
    """Kaplan-Meier's estimate at MONTH and the area below it."""
    months, failed = (series.implants[name].to_numpy() for name in ("months", "failed"))
    when = np.sort(months[failed & (months <= MONTH)])
    at_risk = len(months) - np.searchsorted(np.sort(months), when)
    survival = np.cumprod(1 - 1 / at_risk)
    return survival[-1], float(np.diff([0.0, *when, MONTH]) @ np.array([1.0, *survival]))


def failures(series: Series) -> float:
    """Aalen-Johansen's estimate at MONTH of the share failed."""
    months, failed, died = (series.implants[name].to_numpy() for name in ("months", "failed", "died"))
    order = np.argsort(months)
    months, failed, ended = months[order], failed[order], (failed | died)[order]
    at_risk = len(months) - np.arange(len(months))
    still_there = np.cumprod(1 - ended / at_risk)
    before = np.concatenate([[1.0], still_there[:-1]])
    return float((before * failed / at_risk)[months <= MONTH].sum())


def chunk(key: str, number: int) -> dict[str, float]:
    series = series_drawn(replace(DESIGNS[key], n_patients=A_CHUNK), SEED, list(DESIGNS).index(key), number)
    survival, mean_months = curve(series)
    terms = list(LOG_HAZARD)
    return {
        "share": float((series.cases["perforation"] == "yes").mean()),
        "survival": survival,
        "mean_months": mean_months,
        "failure": failures(series),
        **dict(zip((f"log_hazard {term}" for term in terms), log_hazards(series), strict=True)),
        **dict(zip((f"log_time {term}" for term in terms), log_times(series), strict=True)),
    }


def truths(design: Design, drawn: pd.DataFrame) -> pd.DataFrame:
    """A row an estimand of one design."""
    table = pd.DataFrame({"truth": drawn.mean(), "error": drawn.std(ddof=1) / np.sqrt(len(drawn))})
    exact = pd.Series(design.exact).reindex(table.index)
    table["z"] = (table["truth"] - exact) / table["error"]
    table.insert(0, "design", design.name)
    return table.rename_axis("estimand").reset_index()[["design", "estimand", "truth", "error", "z"]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cores", type=int, default=1)
    options = parser.parse_args()
    tables = []
    with ProcessPoolExecutor(options.cores) as pool:
        for key, design in DESIGNS.items():
            if not design.plain or design.leaves_by_frailty:
                drawn = pd.DataFrame(list(pool.map(chunk, [key] * CHUNKS, range(CHUNKS))))
                tables.append(truths(design, drawn))
                print(tables[-1].to_string(), flush=True)
    pd.concat(tables).to_csv(TRUTHS, index=False, float_format="%.6g")


if __name__ == "__main__":
    main()
