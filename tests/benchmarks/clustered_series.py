"""Draws invented case series of a design (see designs.py), in which the sites of a patient resemble each other.

A copula joins the sites of a patient: each site's own event and time have the distribution that is asked for, whatever
the correlation of the scores behind them. The scores are normal, or in heavy-tailed designs a sum of a patient's t and
a site's normal variable, whose distribution function is tabulated.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd
from designs import (
    BANDS_MM,
    DEATHS_A_MONTH,
    DEPTH_BIAS_MM,
    DEPTH_PATIENT_SD,
    DEPTH_SITE_SD,
    ENDED,
    GAIN_MM,
    LOG_HAZARD,
    LOG_ODDS,
    MARGINAL_MM,
    MARGINAL_SD,
    PROTRUSION_MM,
    RBH_MEAN_MM,
    RBH_SD_MM,
    SITES_SHARE,
    SMOKERS,
    TRANSMUCOSAL,
    WEIBULL_SHAPE,
    Design,
)
from scipy.special import expit, ndtr
from scipy.stats import t as student

from liftseries.models.shared.cases import band

RBH_ALIKE = 0.3  # correlation within a patient
VISITS = np.array([0.0, 6, 12, 24, 36, 48, 60, 72, 84])
DROPOUTS_A_MONTH = 0.004
END_MONTHS = (30.0, 84.0)  # the series is closed between these months after placement
BONE_VISITS = (0.0, 12.0, 36.0)
GAIN_SD = (0.7, 0.5, 0.5)  # of patients, of sites within them, of visits


@dataclass(frozen=True)
class Series:
    """One series drawn.

    Attributes
    ----------
    seed : of its generator
    cases : one row a site
    visits : bone heights and marginal bone
    implants : follow-up with exact times, as `follow_up()` gives it
    seen : the same implants as the visits tell them: a failure is found at the next visit
    """

    design: Design
    seed: tuple[int, ...]
    cases: pd.DataFrame
    visits: pd.DataFrame = field(repr=False)
    implants: pd.DataFrame = field(repr=False)
    seen: pd.DataFrame = field(repr=False)


def sizes_drawn(rng: np.random.Generator, n_patients: int, share=SITES_SHARE) -> np.ndarray:
    """How many sites each patient has."""
    return rng.choice(np.arange(1, len(share) + 1), n_patients, p=share)


def scores_drawn(rng: np.random.Generator, patient: np.ndarray, alike: float) -> np.ndarray:
    """Standard normal scores, correlated within patients; shape (n_sites,)."""
    own = rng.standard_normal(patient.max() + 1)[patient]
    return np.sqrt(alike) * own + np.sqrt(1 - alike) * rng.standard_normal(len(patient))


def effects_drawn(rng: np.random.Generator, n_patients: int, heavy: bool) -> np.ndarray:
    """Effects of patients with mean 0 and standard deviation 1; shape (n_patients,)."""
    return rng.standard_t(3, n_patients) / np.sqrt(3) if heavy else rng.standard_normal(n_patients)


def uniforms_drawn(rng: np.random.Generator, patient: np.ndarray, design: Design) -> tuple[np.ndarray, np.ndarray]:
    """Numbers each uniform between 0 and 1, alike within patients, shape (n_sites,); and the patients' effects."""
    effect = effects_drawn(rng, design.n_patients, design.heavy)
    alike = design.alike
    score = np.sqrt(alike) * effect[patient] + np.sqrt(1 - alike) * rng.standard_normal(len(patient))
    return np.interp(score, *_heavy_distribution(alike)) if design.heavy else ndtr(score), effect


@cache
def _heavy_distribution(alike: float) -> tuple[np.ndarray, np.ndarray]:
    """Distribution function of √alike t/√3 + √(1 - alike) z: where, and its values there."""
    at = np.sinh(np.linspace(-5, 5, 4001)) / 3
    middle = (np.arange(20_000) + 0.5) / 20_000
    effects = np.sqrt(alike / 3) * student.ppf(middle, 3)
    return at, np.array([ndtr((x - effects) / np.sqrt(1 - alike)).mean() for x in at])


def series_drawn(design: Design, *seed: int) -> Series:
    """Draws one series."""
    rng = np.random.default_rng(seed)
    sizes = sizes_drawn(rng, design.n_patients, np.array(design.sites_share))
    patient = np.repeat(np.arange(design.n_patients), sizes)
    cases = cases_drawn(rng, design, patient, sizes[patient].astype(float))
    implants, fails = implants_drawn(rng, design, patient, cases)
    leaves = implants["leaves"].to_numpy()
    gone = np.minimum(implants["dies"].to_numpy(), leaves)
    implants = implants.drop(columns=["dies", "leaves"])
    visits = bone_drawn(rng, design, patient, cases)
    if design.leaves_by_frailty:
        visits = visits[visits["months"].to_numpy() <= np.repeat(gone, len(BONE_VISITS))]
    hidden = ["size", "slope", "smokes"]
    return Series(
        design=design,
        seed=seed,
        cases=cases.drop(columns=hidden),
        visits=visits.reset_index(drop=True),
        implants=implants.drop(columns=hidden),
        seen=as_visits_tell(implants.drop(columns=hidden), fails, gone),
    )


def cases_drawn(rng, design: Design, patient: np.ndarray, size: np.ndarray) -> pd.DataFrame:
    """One row a site: what it is like, whether it perforated and how deep it was drilled."""
    n = len(patient)
    rbh = RBH_MEAN_MM + RBH_SD_MM * scores_drawn(rng, patient, RBH_ALIKE)
    smokes = (rng.random(design.n_patients) < SMOKERS)[patient]
    slope = design.slope_sd * rng.standard_normal(design.n_patients)[patient]
    risk = expit(design.log_odds_at_mean + design.effect(LOG_ODDS, rbh, smokes, size, slope))
    perforated = uniforms_drawn(rng, patient, design)[0] < risk
    depth_error = (
        DEPTH_BIAS_MM
        + design.by_size_mm * (size - design.mean_size)
        + DEPTH_PATIENT_SD * effects_drawn(rng, design.n_patients, design.heavy)[patient]
        + DEPTH_SITE_SD * rng.standard_normal(n)
    )
    ended = np.searchsorted(np.cumsum(list(ENDED.values()))[:-1], uniforms_drawn(rng, patient, design)[0])
    levels = ["never", "former", "current", "unknown"]
    return pd.DataFrame(
        {
            "site_id": np.array([f"S{i:04d}" for i in range(n)], object),
            "patient_id": np.array([f"P{i:04d}" for i in patient], object),
            "smoking": pd.Categorical.from_codes(2 * smokes.astype(int), categories=levels),
            "perforation": pd.Categorical.from_codes(perforated.astype(int), categories=["no", "yes"]),
            "healing": pd.Categorical.from_codes(
                (rng.random(design.n_patients) < TRANSMUCOSAL)[patient].astype(int),
                categories=["submerged", "transmucosal"],
            ),
            "rbh_mid_mm": rbh,
            "rbh_band": band(pd.Series(rbh), BANDS_MM),
            "protrusion_mm": rng.uniform(*PROTRUSION_MM, n),
            "planned_last_mm": rbh,
            "achieved_last_mm": rbh + depth_error,
            "last_error_mm": depth_error,
            "ended": pd.Categorical.from_codes(ended, categories=list(ENDED)),
            "size": size,
            "slope": slope,
            "smokes": smokes.astype(float),
        }
    )


def implants_drawn(rng, design: Design, patient: np.ndarray, cases: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """Follow-up of every site, with the months at which its patient dies and leaves; and when each would fail."""
    kinds = (cases[name].to_numpy() for name in ("rbh_mid_mm", "smokes", "size", "slope"))
    hazard = np.exp(design.log_hazard_at_mean + design.effect(LOG_HAZARD, *kinds))
    lasts, frailty = uniforms_drawn(rng, patient, design)
    fails = (-np.log(lasts) / hazard) ** (1 / WEIBULL_SHAPE)
    dies = rng.exponential(1 / DEATHS_A_MONTH, design.n_patients)[patient]
    stays_away = rng.exponential(1 / DROPOUTS_A_MONTH, design.n_patients) / np.exp(design.leaves_by_frailty * frailty)
    leaves = np.minimum(stays_away, rng.uniform(*END_MONTHS, design.n_patients))[patient]
    end = np.minimum(fails, np.minimum(dies, leaves))
    seen = {"months": end, "failed": fails == end, "died": dies == end, "last_in_function": end}
    return cases.assign(**seen, dies=dies, leaves=leaves), fails


def bone_drawn(rng, design: Design, patient: np.ndarray, cases: pd.DataFrame) -> pd.DataFrame:
    """Visits of every site at BONE_VISITS with a bone height and the marginal bone."""
    months = np.array(BONE_VISITS)
    by_size = design.by_size_mm * (cases["size"].to_numpy() - design.mean_size)

    def course(fixed, effects, sd):
        patient_sd, site_sd, visit_sd = sd
        own = patient_sd * effects_drawn(rng, design.n_patients, design.heavy)[patient]
        own = fixed + own + by_size + site_sd * rng.standard_normal(len(patient))
        slope = effects["months"] + design.month_sd_mm * rng.standard_normal(design.n_patients)[patient]
        return own[:, None] + slope[:, None] * months + visit_sd * rng.standard_normal((len(patient), len(months)))

    transmucosal = (cases["healing"] == "transmucosal").to_numpy(float)
    fixed = GAIN_MM["(intercept)"] + GAIN_MM["protrusion_mm"] * cases["protrusion_mm"].to_numpy()
    fixed = fixed + GAIN_MM["smoking[current]"] * cases["smokes"].to_numpy()
    gain = course(fixed, GAIN_MM, GAIN_SD)
    fixed = MARGINAL_MM["(intercept)"] + MARGINAL_MM["healing[transmucosal]"] * transmucosal
    marginal = course(fixed, MARGINAL_MM, MARGINAL_SD)
    return pd.DataFrame(
        {
            "site_id": np.repeat(cases["site_id"].to_numpy(), len(months)),
            "months": np.tile(months, len(patient)),
            "status": "functioning",
            "bone_height_mm": (cases["rbh_mid_mm"].to_numpy()[:, None] + gain).ravel(),
            "marginal_bone_mm": marginal.ravel(),
        }
    )


def as_visits_tell(implants: pd.DataFrame, fails, gone) -> pd.DataFrame:
    """A failure is found at the first of VISITS after it, if the patient still comes to it."""
    last_visit = np.searchsorted(VISITS, gone, side="right") - 1  # the last that the patient came to
    found = np.searchsorted(VISITS, fails)  # the visit at which the failure would be found
    failed = found <= last_visit
    in_function = VISITS[np.minimum(found - 1, last_visit)]
    months = np.where(failed, VISITS[np.minimum(found, len(VISITS) - 1)], in_function)
    return implants.assign(months=months, failed=failed, died=False, last_in_function=in_function)
