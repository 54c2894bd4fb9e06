"""Simulated implants: 1.63 a patient, 2.8 % perforations, 2.5 % failures, times in whole days, yearly visits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.special import expit

SEED = 20260101
DAYS_A_MONTH, N_VISITS, VISIT_DAYS, JITTER_DAYS = 30.4375, 12, 365, 45
PATIENTS_AN_OPERATOR = 123  # some 200 implants
INTRACLASS = 0.15  # the correlation that funnels and CUSUM are given


def simulate(folder: Path, n_sites: int) -> None:
    """Writes each column as 64-bit floats, a site a row; patients stand together."""
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

    last_seen, found_lost = np.zeros(n_sites), np.full(n_sites, np.inf)
    for visit in range(1, N_VISITS + 1):
        day = (VISIT_DAYS * visit + rng.integers(-JITTER_DAYS, JITTER_DAYS + 1, n_patients))[patient]
        last_seen = np.where(day < days, day, last_seen)
        found_lost = np.where(failed & (day >= days), np.minimum(found_lost, day), found_lost)
    of_patient, of_site = rng.normal(0, 0.5, n_patients)[patient], rng.normal(0, 0.4, n_sites)
    gain = 3 + 0.2 * (7 - rbh) - 0.3 * smokes + of_patient + of_site
    columns = {
        "patient": patient, "days": days, "failed": failed, "died": died, "perforated": perforated,
        "rbh_mid_mm": rbh, "smokes": smokes, "guided": guided,
        "interval_left": last_seen / DAYS_A_MONTH, "interval_right": found_lost / DAYS_A_MONTH,
        "gain_12_mm": gain + rng.normal(0, 0.5, n_sites), "gain_36_mm": gain - 0.1 + rng.normal(0, 0.5, n_sites),
        "rbh_known_mm": np.where(rng.random(n_sites) < 0.1, np.nan, rbh),
        "smokes_known": np.where((rng.random(n_patients) < 0.1)[patient], np.nan, smokes),
        "protocol": rng.random(n_sites) < expit(0.3 * (rbh - 5.5) - 0.5 * smokes),
        "operator": patient // PATIENTS_AN_OPERATOR,
        "expected": expit(-3.4 - 0.25 * (rbh - 5.5) + 0.4 * smokes),
    }  # fmt: skip
    for name, column in columns.items():
        column.astype(float).tofile(folder / name)


def with_constant(d: dict[str, np.ndarray]) -> np.ndarray:
    """A constant and the three terms, shape (n, 4)."""
    return np.column_stack([np.ones(len(d["rbh_mid_mm"])), d["rbh_mid_mm"], d["smokes"], d["guided"]])
