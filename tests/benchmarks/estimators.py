"""What our clustered estimators cost beside R, lifelines and statsmodels, and how far the numbers agree.

    python tests/benchmarks/estimators.py [--sizes 10000 100000 1000000] [--models km aj cox gee]

Simulated implants, 1.63 a patient, 2.8 % perforations, 2.5 % failures, times in whole days. Every fit is a fresh
process on one core; processor seconds are counted around the fit alone, so that neighbours on the machine matter
little; peak memory includes reading the data. A fit that takes longer than LIMIT_S is ended, one that the previous size
lets expect beyond twice that is not started. Below REPEATED_BELOW implants a fit is repeated and its mean taken. Ratios
are what to read: seconds are the machine's. Needs R with survival, geepack and gee. Goals: our Cox < 1 s at 1e5 and
< 20 s at 1e6, our GEE < 37 s at 1e6.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SEED = 20260101
SIZES = (10_000, 100_000, 1_000_000)
LIMIT_S, READING_S = 240, 20
REPEATED_BELOW = 100_000  # with 10^4 implants ten times: processor seconds are counted in ticks of some milliseconds
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
COLUMNS = ("patient", "days", "failed", "died", "perforated", "rbh_mid_mm", "smokes", "guided")
AT_DAYS = (365.0, 1096.0, 1826.0)
EXACT = 1e-8
MIB = 2**20

# What each rival's numbers are compared in: those of the estimate, then those of its clustered standard error.
R_HEAD = """
read <- function(name) { path <- file.path(folder, name); readBin(path, "double", file.size(path) / 8) }
peak <- function() as.numeric(gsub("[^0-9]", "", grep("VmHWM", readLines("/proc/self/status"), value = TRUE))) * 1024
d <- data.frame(lapply(setNames(nm = columns), read))
at <- c(365, 1096, 1826)
repeats <- max(1, repeated_below %/% nrow(d))
"""
R_TAIL = """
words <- function(x) if (length(x)) paste(sprintf("%.17g", x), collapse = ",") else ""
cat(sprintf('{"seconds": %.4f, "peak": %.0f, "estimate": [%s], "std_error": [%s]}',
            sum(took[c("user.self", "sys.self")]) / repeats, peak(), words(estimate), words(std_error)))
"""
R_FITS = {
    "km": """
library(survival)
took <- system.time(for (i in seq_len(repeats)) fit <- survfit(Surv(days, failed) ~ 1, data = d, cluster = patient))
s <- summary(fit, times = at); estimate <- s$surv; std_error <- s$std.err
""",
    "aj": """
library(survival)
d$state <- factor(d$failed + 2 * d$died, 0:2); d$row <- seq_len(nrow(d))
took <- system.time(for (i in seq_len(repeats)) fit <- survfit(Surv(days, state) ~ 1, data = d, id = row))
estimate <- summary(fit, times = at)$pstate[, 2]; std_error <- NULL
""",
    "cox": """
library(survival)
took <- system.time(for (i in seq_len(repeats))
  fit <- coxph(Surv(days, failed) ~ rbh_mid_mm + smokes, data = d, ties = "efron", cluster = patient,
               control = coxph.control(eps = 1e-13, iter.max = 50)))
estimate <- coef(fit); std_error <- sqrt(diag(vcov(fit)))
""",
    "gee": """
library(geepack)
took <- system.time(for (i in seq_len(repeats))
  fit <- geeglm(perforated ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, id = patient,
                corstr = "exchangeable", control = geese.control(epsilon = 1e-12, maxit = 100)))
estimate <- coef(fit); std_error <- summary(fit)$coefficients[, 2]
""",
    "gee_moments": """
library(gee)
invisible(capture.output(suppressMessages(took <- system.time(for (i in seq_len(repeats))
  fit <- gee(perforated ~ rbh_mid_mm + smokes + guided, data = d, family = binomial, id = patient,
             corstr = "exchangeable", tol = 1e-13, maxiter = 100)))))
estimate <- coef(fit); std_error <- sqrt(diag(fit$robust.variance))
""",
}


# ── data ──────────────────────────────────────────────────────────────────────────────────────────


def simulate(folder: Path, n_sites: int) -> None:
    """Writes each of COLUMNS as 64-bit floats; patients stand together."""
    import numpy as np
    from scipy.special import expit

    rng = np.random.default_rng(SEED)
    size = rng.choice([1, 2, 3, 4], n_sites, p=[0.58, 0.26, 0.11, 0.05])
    patient = np.repeat(np.arange(n_sites), size)[:n_sites]
    n_patients = patient[-1] + 1
    frailty = rng.standard_normal(n_patients)[patient]
    rbh = np.round(rng.uniform(2, 9, n_sites), 1)
    smokes = (rng.random(n_patients) < 0.25)[patient]
    guided = (rng.random(n_patients) < 0.5)[patient]
    perforated = rng.random(n_sites) < expit(-4.0 - 0.25 * (rbh - 5.5) + 0.4 * smokes - 0.3 * guided + 0.9 * frailty)
    rate = 7.2e-6 * np.exp(-0.15 * (rbh - 5.5) + 0.4 * smokes + 0.8 * frailty)
    fails, ends = rng.exponential(1 / rate), rng.uniform(1000, 3650, n_patients)[patient]
    dies = rng.exponential(40_000, n_patients)[patient]
    days = np.ceil(np.minimum(fails, np.minimum(dies, ends)))
    failed, died = (fails <= dies) & (fails <= ends), (dies < fails) & (dies <= ends)
    values = (patient, days, failed, died, perforated, rbh, smokes, guided)
    for name, column in zip(COLUMNS, values, strict=True):
        column.astype(float).tofile(folder / name)


# ── fits in Python, each in a process of its own ──────────────────────────────────────────────────


def ours_km(d):
    from liftseries.estimators.kaplan_meier import kaplan_meier

    yield
    fit = kaplan_meier(d["days"], d["failed"] == 1, d["patient"])
    yield fit.at(AT_DAYS)


def ours_aj(d):
    from liftseries.estimators.aalen_johansen import aalen_johansen

    yield
    fit = aalen_johansen(d["days"], d["failed"] == 1, d["died"] == 1, d["patient"])
    yield fit.at(AT_DAYS)[:2]


def ours_cox(d):
    import numpy as np

    from liftseries.estimators.cox import cox_regression

    x = np.column_stack([d["rbh_mid_mm"], d["smokes"]])
    yield
    fit = cox_regression(d["days"], d["failed"] == 1, x, d["patient"])
    yield fit.coefficients, fit.std_error


def ours_gee(d):
    from liftseries.estimators.gee import logistic_gee

    x = with_constant(d)
    yield
    fit = logistic_gee(x, d["perforated"] == 1, d["patient"])
    yield fit.coefficients, fit.std_error


def lifelines_km(d):
    from lifelines import KaplanMeierFitter

    yield
    fit = KaplanMeierFitter().fit(d["days"], d["failed"])
    yield fit.survival_function_at_times(AT_DAYS).to_numpy(), ()


def lifelines_aj(d):
    from lifelines import AalenJohansenFitter

    state = d["failed"] + 2 * d["died"]
    yield
    fit = AalenJohansenFitter(seed=1).fit(d["days"], state, event_of_interest=1)
    yield fit.cumulative_density_.iloc[:, 0].asof(list(AT_DAYS)).to_numpy(), ()


def lifelines_cox(d):
    import pandas as pd
    from lifelines import CoxPHFitter

    table = pd.DataFrame({name: d[name] for name in ("days", "failed", "patient", "rbh_mid_mm", "smokes")})
    yield
    fit = CoxPHFitter().fit(table, "days", "failed", cluster_col="patient", fit_options={"precision": 1e-12})
    yield fit.params_.to_numpy(), fit.standard_errors_.to_numpy()


def statsmodels_km(d):
    import numpy as np
    from statsmodels.duration.survfunc import SurvfuncRight

    yield
    fit = SurvfuncRight(d["days"], d["failed"])
    step = np.searchsorted(fit.surv_times, AT_DAYS, side="right") - 1
    yield fit.surv_prob[step], ()


def statsmodels_aj(d):
    import numpy as np
    from statsmodels.duration.survfunc import CumIncidenceRight

    state = d["failed"] + 2 * d["died"]
    yield
    fit = CumIncidenceRight(d["days"], state)
    step = np.searchsorted(fit.times, AT_DAYS, side="right") - 1
    yield fit.cinc[0][step], ()


def statsmodels_cox(d):
    import numpy as np
    from statsmodels.duration.hazard_regression import PHReg

    x = np.column_stack([d["rbh_mid_mm"], d["smokes"]])
    yield
    fit = PHReg(d["days"], x, status=d["failed"], ties="efron").fit(groups=d["patient"])
    yield fit.params, fit.bse


def statsmodels_gee(d):
    import statsmodels.api as sm

    x = with_constant(d)
    yield
    exchangeable, family = sm.cov_struct.Exchangeable(), sm.families.Binomial()
    fit = sm.GEE(d["perforated"], x, groups=d["patient"], family=family, cov_struct=exchangeable).fit(ctol=1e-10)
    yield fit.params, fit.bse


def with_constant(d):
    import numpy as np

    return np.column_stack([np.ones(len(d["days"])), d["rbh_mid_mm"], d["smokes"], d["guided"]])


def work(fit: str, folder: Path) -> None:
    """One fit: prints its seconds, peak memory and numbers."""
    import numpy as np

    d = {name: np.fromfile(folder / name) for name in COLUMNS}
    repeats, seconds = max(1, REPEATED_BELOW // len(d["days"])), 0.0
    for _ in range(repeats):
        steps = globals()[fit](d)
        next(steps)  # imports and preparation
        started = time.process_time()
        estimate, std_error = next(steps)
        seconds += (time.process_time() - started) / repeats
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    numbers = {"estimate": [float(b) for b in estimate], "std_error": [float(se) for se in std_error]}
    print(json.dumps({"seconds": seconds, "peak": peak} | numbers))


# ── one run ───────────────────────────────────────────────────────────────────────────────────────

# model → what stands in the table, and which fit it is; ours first, then the one whose numbers ours must equal.
CONTESTS = {
    "km": ("Kaplan-Meier, clustered", {
        "ours": "ours_km", "R survfit(cluster=)": "R km",
        "lifelines, no cluster": "lifelines_km", "statsmodels, no cluster": "statsmodels_km",
    }),
    "aj": ("Aalen-Johansen, clustered", {
        "ours": "ours_aj", "R survfit, no cluster": "R aj",
        "lifelines, no cluster": "lifelines_aj", "statsmodels, no cluster": "statsmodels_aj",
    }),
    "cox": ("Cox, Efron ties, clustered sandwich", {
        "ours": "ours_cox", "R coxph(cluster=)": "R cox",
        "lifelines cluster_col": "lifelines_cox", "statsmodels PHReg groups": "statsmodels_cox",
    }),
    "gee": ("logistic GEE, exchangeable", {
        "ours": "ours_gee", "R gee (moments over N - p, as ours)": "R gee_moments",
        "R geeglm (moments over N)": "R gee", "statsmodels GEE": "statsmodels_gee",
    }),
}  # fmt: skip


def _limited() -> None:
    """In a process to be: the system ends it when its processor seconds, reading included, are used up."""
    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S + READING_S, LIMIT_S + READING_S + 5))


def measured(fit: str, folder: Path) -> dict | None:
    """The numbers of one fit, or None where it took too long."""
    command = [sys.executable, __file__, "--worker", fit, str(folder)]
    if fit.startswith("R "):
        columns = ", ".join(f'"{name}"' for name in COLUMNS)
        head = f'folder <- "{folder.as_posix()}"; columns <- c({columns}); repeated_below <- {REPEATED_BELOW}\n'
        command = ["Rscript", "-e", head + R_HEAD + R_FITS[fit[2:]] + R_TAIL]
    done = subprocess.run(
        command, capture_output=True, encoding="utf-8", env={**os.environ, **ONE_THREAD}, preexec_fn=_limited
    )
    if done.returncode in (-signal.SIGXCPU, -signal.SIGKILL, 128 + signal.SIGXCPU, 128 + signal.SIGKILL):
        return None
    if done.returncode:
        raise SystemExit(f"{fit}: {done.stderr[-2000:]}")
    found = json.loads(done.stdout.strip().splitlines()[-1])
    return found if found["seconds"] <= LIMIT_S else None


def difference(ours: dict, theirs: dict, what: str) -> float | None:
    """Largest relative difference; None where the other has no such number."""
    pairs = list(zip(ours[what], theirs[what], strict=False))
    return max(abs(a / b - 1) for a, b in pairs) if theirs[what] else None


def cell(found: dict | None, ours: dict) -> str:
    """`3.1 s, 41 ×, 271 MB`: the multiple is of our time."""
    if found is None:
        return f"> {LIMIT_S} s, > {LIMIT_S / ours['seconds']:.0f} ×"
    multiple = "" if found is ours else f"{found['seconds'] / ours['seconds']:.3g} ×, "
    return f"{found['seconds']:.3g} s, {multiple}{found['peak'] / MIB:.0f} MB"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    parser.add_argument("--models", nargs="*", default=list(CONTESTS), choices=list(CONTESTS))
    parser.add_argument("--worker", nargs=2, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        work(options.worker[0], Path(options.worker[1]))
        return
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})  # one core, for this process and all it starts

    found: dict[tuple[str, int], dict | None] = {}
    for n_sites in sorted(options.sizes):
        with tempfile.TemporaryDirectory() as scratch:
            simulate(Path(scratch), n_sites)
            for model in options.models:
                for fit in CONTESTS[model][1].values():
                    before = [found[key] for key in found if key[0] == fit]
                    hopeless = before and (
                        before[-1] is None
                        or before[-1]["seconds"] * n_sites / sorted(options.sizes)[len(before) - 1] > 2 * LIMIT_S
                    )
                    found[fit, n_sites] = None if hopeless else measured(fit, Path(scratch))
                    seconds = found[fit, n_sites]["seconds"] if found[fit, n_sites] else "too long"
                    print(f"{n_sites} {fit} {seconds}", file=sys.stderr)

    sizes = sorted(options.sizes)
    print(f"\n| fit (multiples are of our time) | {' | '.join(f'{n:,} implants' for n in sizes)} |")
    print(f"| --- |{' --- |' * len(sizes)}")
    for model in options.models:
        title, fits = CONTESTS[model]
        print(f"| **{title}** |{' |' * len(sizes)}")
        for name, fit in fits.items():
            cells = [cell(found[fit, n], found[fits["ours"], n]) for n in sizes]
            print(f"| {name} | {' | '.join(cells)} |")

    print("\n| largest relative difference from ours: estimate, clustered standard error | "
          f"{' | '.join(f'{n:,}' for n in sizes)} |\n| --- |{' --- |' * len(sizes)}")  # fmt: skip
    too_far = []
    for model in options.models:
        title, fits = CONTESTS[model]
        for rank, (name, fit) in enumerate(fits.items()):
            if rank == 0:
                continue
            cells = []
            for n in sizes:
                pairs = [
                    difference(found[fits["ours"], n], found[fit, n], what) if found[fit, n] else None
                    for what in ("estimate", "std_error")
                ]
                cells.append(", ".join("–" if pair is None else f"{pair:.0e}" for pair in pairs))
                if rank == 1:
                    too_far += [f"{name}, {n}: {pair:.1e}" for pair in pairs if pair is not None and pair > EXACT]
            print(f"| {title.partition(',')[0]}: {name} | {' | '.join(cells)} |")
    print(f"\nBeyond {EXACT:g} from R: {'; '.join(too_far) if too_far else 'nothing'}")


if __name__ == "__main__":
    main()
