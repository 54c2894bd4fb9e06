"""How often the 95 % intervals hold the truth, beside intervals that forget that sites share patients.

    python tests/benchmarks/coverage.py [--replicates 1000] [--designs sparse …] [--estimators survival_km …]
        [--cores 2] [--draws FOLDER]

Sparse, clustered series with a marginal truth known exactly (see clustered_series.py); each replicate has its own
generator, so the split over processes changes nothing. Chunks of replicates stay in FOLDER, and what is there is not
drawn again: delete the folder after a change of an estimator. Writes reports/coverage.csv.

`not_fitted` is the share of series in which an estimator has no interval; `coverage` is of the others.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy is imported: one process a core

import argparse
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
from clustered_series import MONTH, Design, Series, scores_drawn, series_drawn
from scipy.special import ndtr

from liftseries.estimators.intervals import NotFitted, critical_value

ROOT = Path(__file__).parents[2]
SEED = 20260101
A_CHUNK = 25
TERMS = ["rbh_mid_mm", "smoking"]
NO_INTERVAL = (np.nan, np.nan)
COLUMNS = ["design", "estimator", "replicate", "truth", "low", "high", "naive_low", "naive_high", "seconds"]
RESAMPLES = 200  # of the patients, for Turnbull's band

DESIGNS = {
    "usual": Design("150 patients, 5 % events", 150, 0.05, 0.3),
    "strong": Design("100 patients, 5 % events, strongly clustered", 100, 0.05, 0.6),
    "small": Design("60 patients, 5 % events", 60, 0.05, 0.3),
    "sparse": Design("150 patients, 2 % events", 150, 0.02, 0.3),
}


@dataclass(frozen=True)
class Answer:
    """One estimator's interval in one series; NaN where it has none. `truth` is a number or a key of `Design.truth`."""

    estimator: str
    truth: str | float
    interval: tuple[float, float]
    naive: tuple[float, float] = NO_INTERVAL


def interval(rows: pd.DataFrame, term: str, **where: str) -> tuple[float, float]:
    """The limits of the two-sided row of a term; `where` says what its other cells hold."""
    chosen = (rows["term"] == term) & ~rows["method"].str.startswith("one_sided")
    for column, value in where.items():
        chosen &= rows[column].eq(value)
    (row,) = rows[chosen].to_dict("records")
    return row["conf_low"], row["conf_high"]


def about(estimate: float, std_error: float) -> tuple[float, float]:
    return estimate - critical_value() * std_error, estimate + critical_value() * std_error


def of_independent_sites(table: pd.DataFrame) -> pd.DataFrame:
    """The same table, every site a patient of its own: what a naive analysis believes."""
    return table.assign(patient_id=table["site_id"])


def months_failed_patient(implants: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return implants["months"].to_numpy(), implants["failed"].to_numpy(), implants["patient_id"].to_numpy()


# ── the estimators, each beside its naive twin ────────────────────────────────────────────────────


def perforation_rate(series: Series) -> Iterator[Answer]:
    from liftseries.models.perforation.rate import fit_perforation_rate

    rows = fit_perforation_rate(series.cases).rows
    naive = interval(rows, "rate", method="wilson")
    yield Answer("perforation.rate cluster (naive: Wilson)", "share", interval(rows, "rate", method="cluster"), naive)


def one_sided_bound(series: Series) -> Iterator[Answer]:
    """The bound's worst case: the true risk just above it. It holds where an event is seen; in units of that risk."""
    from liftseries.models.shared.one_sided import largest_risk

    patient = pd.factorize(series.cases["patient_id"])[0]
    scores = scores_drawn(np.random.default_rng([*series.seed, 1]), patient, series.design.alike)
    lowest = ndtr(scores.min())  # no site has the event when the risk is below it
    own, naive = (
        (0.0, 1.0 - 1e-9 if lowest > largest_risk(n) else 1.0) for n in (series.design.n_patients, len(patient))
    )
    yield Answer("perforation.rate one-sided bound at no event (naive: of sites)", 1.0, own, naive)


def perforation_gee(series: Series) -> Iterator[Answer]:
    from liftseries.models.perforation.gee import fit_perforation_gee
    from liftseries.models.shared.complete_cases import perforation_data

    rows = fit_perforation_gee(series.cases, TERMS).rows
    data = perforation_data(series.cases, TERMS)
    try:
        naive = logistic_of_independent_sites(data.design.matrix, data.event)
    except NotFitted:
        naive = {}
    for term in ("rbh_mid_mm", "smoking[current]"):
        if (rows["term"] == term).any():
            own = dict(zip(data.design.names, naive, strict=True)) if len(naive) else {}
            name = f"perforation.gee {term} (naive: logistic model)"
            yield Answer(name, f"log_odds {term}", interval(rows, term), own.get(term, NO_INTERVAL))


def logistic_of_independent_sites(x: np.ndarray, event: np.ndarray) -> list[tuple[float, float]]:
    """Wald intervals of maximum likelihood."""
    beta, y = np.zeros(x.shape[1]), event.astype(float)
    for _ in range(25):
        risk = 1 / (1 + np.exp(-x @ beta))
        information = (x * (risk * (1 - risk))[:, None]).T @ x
        try:
            step = np.linalg.solve(information, x.T @ (y - risk))
        except np.linalg.LinAlgError:
            raise NotFitted("singular") from None
        beta = beta + step
        if not np.abs(beta).max() < 50:
            raise NotFitted("runs off to infinity")
        if np.abs(step).max() < 1e-8:
            return [about(b, se) for b, se in zip(beta, np.sqrt(np.diag(np.linalg.inv(information))), strict=True)]
    raise NotFitted("did not settle")


def perforation_firth(series: Series) -> Iterator[Answer]:
    from liftseries.models.perforation.firth import fit_perforation_firth

    rows = fit_perforation_firth(series.cases, TERMS).rows
    for term in ("rbh_mid_mm", "smoking[current]"):
        if (rows["term"] == term).any():
            naive = interval(rows, term, method="profile")
            name = f"perforation.firth {term} jackknife (naive: profile)"
            yield Answer(name, f"log_odds {term}", interval(rows, term, method="jackknife"), naive)


def perforation_risk(series: Series) -> Iterator[Answer]:
    from liftseries.models.perforation.risk import fit_perforation_risk

    contrast = {"rbh_mid_mm": [7.0, 4.0]}

    def limits(cases):
        rows = fit_perforation_risk(cases, TERMS, contrast).rows
        return interval(rows[rows["analysis"] == "perforation.risk_difference"], "rbh_mid_mm: 7 to 4")

    name = "perforation.risk_difference rbh_mid_mm 7 to 4 (naive: independent sites)"
    yield Answer(name, "risk_difference", limits(series.cases), limits(of_independent_sites(series.cases)))


def survival_km(series: Series) -> Iterator[Answer]:
    from liftseries.estimators.kaplan_meier import log_log_interval
    from liftseries.models.survival.km import fit_survival_km

    rows = fit_survival_km(series.implants, [MONTH]).rows
    months, failed, _ = months_failed_patient(series.implants)
    at_risk = np.array([(months >= month).sum() for month in months])
    early = failed & (months <= MONTH)
    n = at_risk[early]
    survival = np.prod(1 - 1 / n)
    low, high = log_log_interval([survival], [survival * np.sqrt((1 / (n * (n - 1))).sum())])
    own = interval(rows, f"{MONTH:g}")
    yield Answer(f"survival.km {MONTH:g} months (naive: Greenwood)", "survival", own, (low[0], high[0]))


def survival_rmst(series: Series) -> Iterator[Answer]:
    from liftseries.models.survival.rmst import fit_survival_rmst

    own, naive = (
        interval(fit_survival_rmst(implants, [MONTH]).rows, f"{MONTH:g}")
        for implants in (series.implants, of_independent_sites(series.implants))
    )
    yield Answer(f"survival.rmst {MONTH:g} months (naive: independent implants)", "mean_months", own, naive)


def survival_competing(series: Series) -> Iterator[Answer]:
    from liftseries.models.survival.competing import fit_survival_competing

    own, naive = (
        interval(fit_survival_competing(implants, [MONTH]).rows, f"{MONTH:g}")
        for implants in (series.implants, of_independent_sites(series.implants))
    )
    yield Answer(f"survival.competing {MONTH:g} months (naive: independent implants)", "failure", own, naive)


def survival_cox(series: Series) -> Iterator[Answer]:
    from liftseries.estimators.cox import cox_regression
    from liftseries.models.survival.cox import fit_survival_cox

    rows = fit_survival_cox(series.implants, TERMS).rows
    smokes = (series.implants["smoking"] == "current").to_numpy(float)
    months, failed, patient = months_failed_patient(series.implants)
    try:
        model = cox_regression(months, failed, np.column_stack([series.implants["rbh_mid_mm"], smokes]), patient)
        naive = [about(b, se) for b, se in zip(model.coefficients, model.naive_std_error, strict=True)]
    except NotFitted:
        naive = [NO_INTERVAL, NO_INTERVAL]
    for term, own in zip(("rbh_mid_mm", "smoking[current]"), naive, strict=True):
        name = f"survival.cox {term} (naive: information)"
        yield Answer(name, f"log_hazard {term}", interval(rows, term), own)


def survival_firth_cox(series: Series) -> Iterator[Answer]:
    from liftseries.models.survival.firth_cox import fit_survival_firth_cox

    rows = fit_survival_firth_cox(series.implants, TERMS).rows
    for term in ("rbh_mid_mm", "smoking[current]"):
        name = f"survival.firth_cox {term} jackknife (naive: profile)"
        own, naive = (interval(rows, term, method=method) for method in ("jackknife", "profile"))
        yield Answer(name, f"log_hazard {term}", own, naive)


def survival_interval(series: Series) -> Iterator[Answer]:
    from liftseries.models.survival.interval import fit_survival_interval

    estimates = fit_survival_interval(series.seen, TERMS, [MONTH])
    rows = estimates.rows
    model = rows[rows["analysis"] == "survival.interval"]
    effects = estimates.design_effects.set_index("term")["estimate"]
    for row in model[model["term"].isin(["rbh_mid_mm", "smoking[current]"])].to_dict("records"):
        term = row["term"]
        effect = effects.get(f"survival.interval {term}", np.nan)
        name = f"survival.interval {term} (naive: information)"
        # The row has the larger of the clustered and the information standard error.
        naive = about(row["estimate"], row["std_error"] / np.sqrt(max(effect, 1.0)))
        yield Answer(name, f"log_time {term}", (row["conf_low"], row["conf_high"]), naive)
    name = f"survival.interval_curve {MONTH:g} months (naive: independent implants)"
    naive = fit_survival_interval(of_independent_sites(series.seen), TERMS, [MONTH]).rows
    curves = (part[part["analysis"] == "survival.interval_curve"] for part in (rows, naive))
    yield Answer(name, "survival", *(interval(part, f"{MONTH:g}") for part in curves))


def survival_turnbull(series: Series) -> Iterator[Answer]:
    from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws

    limits = []
    for implants in (series.seen, of_independent_sites(series.seen)):
        draws = turnbull_draws(implants, [MONTH], SEED, 0, RESAMPLES)
        limits.append(interval(fit_survival_turnbull(implants, [MONTH], draws).rows, f"{MONTH:g}"))
    yield Answer(f"survival.turnbull {MONTH:g} months (naive: implants resampled)", "survival", *limits)


def gain_mixed(series: Series) -> Iterator[Answer]:
    from liftseries.models.gain.mixed import fit_gain_mixed
    from liftseries.models.shared.design import design_matrix
    from liftseries.models.shared.outcomes import gain_at_visits

    terms = ["protrusion_mm", "smoking", "months"]
    rows = fit_gain_mixed(series.visits, series.cases, terms).rows
    gains = gain_at_visits(series.visits, series.cases)
    design = design_matrix(gains, terms)
    y, x = gains["gain_mm"].to_numpy()[design.used], design.matrix
    beta, rss, *_ = np.linalg.lstsq(x, y, rcond=None)
    std_error = np.sqrt(np.diag(np.linalg.inv(x.T @ x)) * rss[0] / (len(y) - x.shape[1]))
    for term, b, se in zip(design.names, beta, std_error, strict=True):
        if term in ("protrusion_mm", "smoking[current]"):
            name = f"gain.mixed {term} (naive: least squares)"
            yield Answer(name, f"gain {term}", interval(rows, term), about(b, se))


def depth_agreement(series: Series) -> Iterator[Answer]:
    from liftseries.models.depth.agreement import fit_depth_agreement

    rows = fit_depth_agreement(series.cases).rows.query("method == 'sites'")
    error = series.cases["last_error_mm"].to_numpy()
    n, mean, sd = len(error), error.mean(), error.std(ddof=1)
    limit_se = sd * np.sqrt(1 / n + 1.96**2 / 2 / (n - 1))  # Bland and Altman 1999, independent sites
    for term, naive in (
        ("bias", about(mean, sd / np.sqrt(n))),
        ("low", about(mean - 1.96 * sd, limit_se)),
        ("high", about(mean + 1.96 * sd, limit_se)),
    ):
        yield Answer(f"depth.agreement {term} (naive: independent sites)", f"depth_{term}", interval(rows, term), naive)


def measurement_icc(series: Series) -> Iterator[Answer]:
    from liftseries.models.sensitivity.icc import fit_measurement_icc

    rows = fit_measurement_icc(series.cases, series.visits).rows
    yield Answer("measurement.icc last_error_mm", "depth_alike", interval(rows, "last_error_mm"))


ESTIMATORS: tuple[Callable[[Series], Iterator[Answer]], ...] = (
    perforation_rate,
    one_sided_bound,
    perforation_gee,
    perforation_firth,
    perforation_risk,
    survival_km,
    survival_rmst,
    survival_competing,
    survival_cox,
    survival_firth_cox,
    survival_interval,
    survival_turnbull,
    gain_mixed,
    depth_agreement,
    measurement_icc,
)


# ── replicates, chunks, summary ───────────────────────────────────────────────────────────────────


def answers(key: str, replicate: int, estimator: Callable) -> list[dict]:
    """An estimator's intervals in one series of a design."""
    design = DESIGNS[key]
    series = series_drawn(design, SEED, list(DESIGNS).index(key), replicate)
    started = time.perf_counter()
    return [
        {
            "design": design.name,
            "estimator": answer.estimator,
            "replicate": replicate,
            "truth": design.truth[answer.truth] if isinstance(answer.truth, str) else answer.truth,
            "low": answer.interval[0],
            "high": answer.interval[1],
            "naive_low": answer.naive[0],
            "naive_high": answer.naive[1],
            "seconds": time.perf_counter() - started,
        }
        for answer in estimator(series)
    ]


def draw_chunk(folder: Path, estimator: Callable, key: str, first: int) -> Path:
    """Replicates first … first + A_CHUNK - 1 of an estimator and a design, unless they are there."""
    path = folder / f"{estimator.__name__}_{key}_{first}.csv"
    if not path.is_file():
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            rows = [row for replicate in range(first, first + A_CHUNK) for row in answers(key, replicate, estimator)]
        half_done = path.with_suffix(f".{os.getpid()}")
        pd.DataFrame(rows, columns=COLUMNS).to_csv(half_done, index=False)
        half_done.replace(path)
    return path


def summary(draws: pd.DataFrame, n: int) -> pd.DataFrame:
    """A row a design and estimator of `n` replicates."""
    rows = []
    for (design, estimator), part in draws.groupby(["design", "estimator"], sort=False):
        fitted = part[part["low"].notna() & part["high"].notna()]
        naive = part[part["naive_low"].notna() & part["naive_high"].notna()]
        both = fitted[fitted.index.isin(naive.index)]
        covered = fitted["truth"].between(fitted["low"], fitted["high"]).mean()
        rows.append(
            {
                "design": design,
                "estimator": estimator,
                "n_replicates": n,
                "not_fitted": 1 - len(fitted) / n,
                "coverage": covered,
                "naive_coverage": naive["truth"].between(naive["naive_low"], naive["naive_high"]).mean(),
                "monte_carlo_error": np.sqrt(covered * (1 - covered) / max(len(fitted), 1)),
                "mean_width_ratio": (both["high"] - both["low"]).mean()
                / (both["naive_high"] - both["naive_low"]).mean(),
            }
        )
    return pd.DataFrame(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicates", type=int, default=1000)
    parser.add_argument("--designs", nargs="*", default=list(DESIGNS), choices=list(DESIGNS))
    parser.add_argument("--estimators", nargs="*", default=[one.__name__ for one in ESTIMATORS])
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--draws", type=Path, default=Path(tempfile.gettempdir()) / "liftseries_coverage")
    parser.add_argument("--output", type=Path, default=ROOT / "reports" / "coverage.csv")
    options = parser.parse_args()
    options.draws.mkdir(parents=True, exist_ok=True)
    firsts = range(0, options.replicates, A_CHUNK)
    estimators = [one for one in ESTIMATORS if one.__name__ in options.estimators]
    chunks = list(product(estimators, options.designs, firsts))
    with ProcessPoolExecutor(options.cores) as pool:
        jobs = [pool.submit(draw_chunk, options.draws, *chunk) for chunk in chunks]
        for done, job in enumerate(jobs, 1):
            job.result()
            print(f"\r{done} of {len(jobs)} chunks", end="", file=sys.stderr)
    draws = pd.concat([pd.read_csv(job.result()) for job in jobs], ignore_index=True)
    table = summary(draws, len(firsts) * A_CHUNK)
    table.to_csv(options.output, index=False, float_format="%.4f")
    print(f"\n{table.to_string(float_format='{:.3f}'.format)}")
    print("\nSeconds an estimator and series:")
    print(draws.groupby("estimator")["seconds"].mean().to_string(float_format="{:.4f}".format))


if __name__ == "__main__":
    main()
