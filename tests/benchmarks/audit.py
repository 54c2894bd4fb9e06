"""An audit's promises by simulation, and what it costs.

    OMP_NUM_THREADS=1 python tests/benchmarks/audit.py [--replicates 400] [--parts speed flags mix cusum]

speed   seconds of every question at 10^4 sites and 60 operators, one core; the goal is 20 in all
flags   units in control, 20 a series: how often one is flagged, and how often the funnel says so (`false_flag`), by how
        a patient's sites are alike: beta-binomial, logistic-normal, or all or none of them
mix     the same of the view `case_mix` where units differ in their cases; beside it what the distribution about p0 says
cusum   limits recomputed with 10^5 draws of θ itself: courses in control that reach them, 0.05 ± 0.01 asked for;
        operators at twice the odds: share with a signal by the printed number of cases, 0.5 where it is right
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from liftseries.estimators.clustered_count import count_distribution, tails
from liftseries.models.audit.between import fit_audit_between
from liftseries.models.audit.by_year import fit_audit_year
from liftseries.models.audit.case_mix import CaseMix
from liftseries.models.audit.funnel import fit_audit_funnel
from liftseries.models.audit.indicators import fit_audit_indicators
from liftseries.models.audit.learning import fit_audit_learning
from liftseries.models.audit.limits import Areas, false_flag, lies, make_up
from liftseries.models.audit.over_time import charted_cases, fit_audit_cusum
from liftseries.models.audit.review import list_cases_to_review
from liftseries.models.audit.units import audited, tail_area
from liftseries.models.shared.follow_up import follow_up

SEED = 20260101
MIX = ["rbh_mid_mm", "floor_slope_deg"]
AREAS = Areas(tail_area(2), tail_area(3))
PLAN = {"centre": "series", "standard": None, "expected": {}}
CUSUM = {"case_mix": MIX, "odds_ratio": 2.0, "false_alarm": 0.05, "cusum_cases": 100, "limits": {}}
CHANCE = {"resamples": 5000, "seed": SEED}


def series(n_units: int, sites_a_unit: int, rho: float, kind: str, rng, risk: float = 0.07) -> pd.DataFrame:
    """Operators in control: patients of one to three sites, risk falling with height."""
    n = n_units * sites_a_unit
    sizes = rng.choice([1, 2, 3], n, p=[0.6, 0.25, 0.15])
    sizes = sizes[: int(np.searchsorted(np.cumsum(sizes), n)) + 1]
    patient = np.repeat(np.arange(len(sizes)), sizes)[:n]
    unit = (patient * n_units) // len(sizes)
    height, slope = np.round(rng.uniform(2, 8, n), 1), np.round(rng.gamma(2, 5, n), 1)
    log_odds = logit(risk) - 0.25 * (height - 5) + 0.01 * (slope - 10)
    q = expit(log_odds)
    mean = np.bincount(patient, q) / np.bincount(patient)
    if kind == "beta-binomial":
        theta = rng.beta(mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho)[patient]
    elif kind == "logistic-normal":
        theta = expit(log_odds + rng.normal(0, 1.2, len(sizes))[patient])
    else:
        theta = (rng.random(len(sizes)) < mean)[patient].astype(float)
    event = rng.random(n) < theta
    order = pd.Series(unit).groupby(unit).cumcount().to_numpy() + 1
    return pd.DataFrame(
        {
            "site_id": [f"S{k:05d}" for k in range(n)],
            "patient_id": [f"P{k:05d}" for k in patient],
            "operator": [f"OP{k:02d}" for k in unit],
            "operator_case_no": pd.array(order, dtype="Int64"),
            "surgery_year": pd.array(2018 + (order * 6) // (sites_a_unit + 1), dtype="Int64"),
            "rbh_mid_mm": height,
            "floor_slope_deg": slope,
            "perforation": np.where(event, "yes", "no"),
        }
    )


def visits_of(cases: pd.DataFrame, rng) -> pd.DataFrame:
    """Visits at 0, 12 and 36 months, one implant in twenty lost at one of the last two."""
    months = np.tile([0.0, 12.0, 36.0], len(cases))
    status = np.where((months > 0) & (rng.random(len(months)) < 0.025), "failed", "functioning")
    site = np.repeat(cases["site_id"].to_numpy(), 3)
    return pd.DataFrame(
        {
            "site_id": site,
            "months": months,
            "status": pd.Categorical(status, ["functioning", "failed", "patient_died", "not_examined"]),
            "complication": pd.Categorical(["none"] * len(site), ["none", "infection", "sinusitis", "displacement"]),
            "bone_height_mm": 9.0 + rng.normal(0, 1, len(site)),
        }
    )


def speed() -> None:
    """Seconds of each question."""
    rng = np.random.default_rng(SEED)
    cases = series(60, 167, 0.1, "beta-binomial", rng)
    visits = visits_of(cases, rng)
    asked = {"by": "operator", **PLAN}
    recorded = {"cases": cases, "implants": follow_up(visits, cases).implants, "visits": visits, "by": "operator"}
    recorded |= {"period": [], "unrecorded": "not_done", "data_until": "", "depth_tolerance_mm": 0.05, "step_mm": 1.0}
    indicators = {"standard": 0.07, "alert_sd": 2, "expected": {}, "names": [], "months": [12, 36, 60]}
    runs = {
        "funnel": lambda: fit_audit_funnel(cases, period=[], alert_sd=2, alarm_sd=3, case_mix=MIX, **asked),
        "between": lambda: fit_audit_between(cases, period=[], **asked, **CHANCE),
        "cusum": lambda: fit_audit_cusum(cases, **asked, **CUSUM, **CHANCE),
        "learning": lambda: fit_audit_learning(cases, MIX),
        "year": lambda: fit_audit_year(cases),
        "indicators": lambda: fit_audit_indicators(**recorded, **indicators),
        "review": lambda: list_cases_to_review(**recorded),
    }
    whole = 0.0
    for name, run in runs.items():
        started = time.process_time()
        run()
        took = time.process_time() - started
        whole += took
        print(f"{name:>10} {took:6.1f} s")
    print(f"{'in all':>10} {whole:6.1f} s   ({len(cases)} sites, 60 operators)")


def flags(replicates: int) -> None:
    """Flags seen for each one expected, by alert and by alarm."""
    for kind in ("beta-binomial", "logistic-normal", "all or none"):
        rng = np.random.default_rng(SEED)
        seen, expected = np.zeros(2), np.zeros(2)
        for _ in range(replicates):
            audit = audited(series(20, 60, 0.15, kind, rng), "operator")
            for number in range(len(audit.names)):
                members = audit.members(number)
                of = make_up(audit.patient[members], np.full(members.sum(), audit.p0))
                control = tails(count_distribution(of.sizes, of.means, audit.correlation))
                found, flag = lies(int(audit.event[members].sum()), control, AREAS)
                seen += [abs(flag) >= 1, abs(flag) == 2]
                expected += [false_flag(found, control, "alert"), false_flag(found, control, "alarm")]
        rate = expected / (20 * replicates)
        print(
            f"{kind:>16}: a unit flagged {seen[0] / 20 / replicates:.4f} (printed {rate[0]:.4f}), alarm "
            f"{seen[1] / 20 / replicates:.4f} (printed {rate[1]:.4f})"
        )


def mix_flags(replicates: int) -> None:
    """Units that take patients by residual height, so that their expected risks differ."""
    rng = np.random.default_rng(SEED)
    seen, own, of_p0 = 0, 0.0, 0.0
    for _ in range(replicates):
        cases = series(20, 60, 0.15, "beta-binomial", rng)
        patient, names = pd.factorize(cases["patient_id"])
        height = cases.groupby("patient_id", sort=False)["rbh_mid_mm"].mean().to_numpy() + rng.normal(0, 1, len(names))
        unit = height.argsort().argsort() * 20 // len(names)
        audit = audited(cases.assign(operator=[f"OP{k:02d}" for k in unit[patient]]), "operator")
        mix = CaseMix(audit, MIX)
        for number in range(len(audit.names)):
            members = audit.members(number)
            of = make_up(audit.patient[members], mix.risks(number)[members])
            control = tails(count_distribution(of.sizes, of.means, audit.correlation))
            found, flag = lies(int(audit.event[members].sum()), control, AREAS)
            seen += abs(flag) >= 1
            own += false_flag(found, control, "alert")
            about_p0 = tails(count_distribution(of.sizes, np.full(len(of.sizes), audit.p0), audit.correlation))
            of_p0 += false_flag(found, about_p0, "alert")
    n = 20 * replicates
    print(f"        case mix: a unit flagged {seen / n:.4f} (printed {own / n:.4f}; about p0 {of_p0 / n:.4f})")


def courses(expected: np.ndarray, patient: np.ndarray, n_cases: int, rho: float, ratio: float, rng, n: int):
    """Tears of patients in order, taken again and again up to n_cases, at odds × ratio, and q of the cases."""
    order = np.argsort(pd.factorize(patient)[0], kind="stable")
    expected, patient = expected[order], pd.factorize(patient)[0][order]
    q, event = [], []
    while len(q) < n_cases:
        for one in range(patient.max() + 1):
            own = expected[patient == one]
            if len(q) + len(own) > n_cases:
                return np.array(q), np.array(event)
            true = ratio * own / (1 - own + ratio * own)
            mean = true.mean()
            theta = rng.beta(mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho, n) if rho > 0 else np.full(n, mean)
            event += [rng.random(n) < theta for _ in own]
            q += own.tolist()
    return np.array(q), np.array(event)


def reached(q, event, limit: float, ratio: float) -> np.ndarray:
    """The case of the first signal of each course; infinite without one."""
    total, when = np.zeros(event.shape[1]), np.full(event.shape[1], np.inf)
    for t in range(len(q)):
        total = np.maximum(0, total + np.where(event[t], np.log(ratio), 0) - np.log(1 - q[t] + ratio * q[t]))
        when = np.where((when == np.inf) & (total >= limit - 1e-9), t + 1, when)
    return when


def cusum() -> None:
    """Limits and run lengths of four operators."""
    rng = np.random.default_rng(SEED)
    for rho in (0.0, 0.15):
        kind = "beta-binomial" if rho else "all or none"
        cases = series(4, 130, rho, kind, rng)
        if not rho:
            cases = cases.assign(patient_id=cases["site_id"])
        rows = fit_audit_cusum(cases, by="operator", **PLAN, **CUSUM, **CHANCE).rows
        audit = audited(cases, "operator")
        mix = CaseMix(audit, MIX)
        for number, name in enumerate(audit.names):
            chart = charted_cases(audit, mix, number)
            for method, ratio in (("up", 2.0), ("down", 0.5)):
                told = rows[rows["subset"].eq(f"operator={name}") & rows["method"].eq(method)].set_index("term")
                limit, length = told.loc["limit", "estimate"], told.loc["run_length", "estimate"]
                given = chart.expected, chart.patient
                false = reached(*courses(*given, 100, audit.correlation, 1.0, rng, 100_000), limit, ratio)
                found = reached(*courses(*given, int(length), audit.correlation, ratio, rng, 20_000), limit, ratio)
                print(
                    f"ρ {audit.correlation:.2f} {name} {method:>4}: h {limit:.3f}, false alarm "
                    f"{np.isfinite(false).mean():.4f}; signal by case {length:.0f}: {np.isfinite(found).mean():.3f}"
                )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--parts", nargs="+", default=["speed", "flags", "mix", "cusum"])
    given = parser.parse_args()
    if "speed" in given.parts:
        speed()
    if "flags" in given.parts:
        flags(given.replicates)
    if "mix" in given.parts:
        mix_flags(given.replicates)
    if "cusum" in given.parts:
        cusum()
