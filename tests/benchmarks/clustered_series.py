"""Invented case series whose marginal truth is known exactly although the sites of a patient resemble each other.

A Gaussian copula joins the sites of a patient: each site's own event and time have the distribution that is asked
for, whatever the correlation of the normal scores behind them. So a logistic, a Cox and a Weibull model of the margins
are all exactly true, and so is every survival probability; the truth is worked out by quadrature, not by simulation.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import expit, log_ndtr, ndtr

from liftseries.models.shared.cases import band

SITES_SHARE = np.array([0.35, 0.25, 0.15, 0.10, 0.05, 0.04, 0.03, 0.03])  # of patients with 1, 2 … 8 sites
SMOKERS = 0.3
RBH_MEAN_MM, RBH_SD_MM, RBH_ALIKE = 5.0, 1.5, 0.3  # RBH_ALIKE: correlation within a patient
LOG_ODDS = {"rbh_mid_mm": -0.3, "smoking[current]": np.log(2.0)}
LOG_HAZARD = {"rbh_mid_mm": -0.2, "smoking[current]": np.log(1.5)}
WEIBULL_SHAPE = 0.8  # failures come early
MONTH = 36.0
VISITS = np.array([0.0, 6, 12, 24, 36, 48, 60, 72, 84])
DEATHS_A_MONTH = 0.002
DROPOUTS_A_MONTH = 0.004
END_MONTHS = (30.0, 84.0)  # the series is closed between these months after placement
GAIN_MM = {"(intercept)": 2.0, "protrusion_mm": 0.5, "smoking[current]": -0.3, "months": -0.01}
GAIN_PATIENT_SD, GAIN_SITE_SD, GAIN_VISIT_SD = 0.7, 0.5, 0.5
GAIN_VISITS = (0.0, 12.0, 36.0)
DEPTH_BIAS_MM, DEPTH_PATIENT_SD, DEPTH_SITE_SD = 0.1, 0.5, 0.5

_NODE, _WEIGHT = np.polynomial.hermite_e.hermegauss(80)
_WEIGHT = _WEIGHT / _WEIGHT.sum()


def over_covariates(function) -> float:
    """Mean of function(rbh_mid_mm, smokes) over the population."""
    rbh = RBH_MEAN_MM + RBH_SD_MM * _NODE
    return float(sum(share * _WEIGHT @ function(rbh, smokes) for smokes, share in ((0, 1 - SMOKERS), (1, SMOKERS))))


@dataclass(frozen=True)
class Design:
    """One kind of series.

    Attributes
    ----------
    n_patients
    event_share : of sites perforated, and of implants failed by MONTH
    alike : correlation of the normal scores of two sites of a patient
    """

    name: str
    n_patients: int
    event_share: float
    alike: float

    @cached_property
    def log_odds_at_mean(self) -> float:
        """Log odds of a perforation of a non-smoker at the mean bone height."""

        def excess(b):
            return over_covariates(lambda rbh, smokes: expit(b + _effect(LOG_ODDS, rbh, smokes))) - self.event_share

        return brentq(excess, -20, 5)

    @cached_property
    def log_hazard_at_mean(self) -> float:
        """log of λ in S(t) = exp(-λ t^shape) of a non-smoker at the mean bone height."""

        def excess(b):
            return over_covariates(lambda rbh, smokes: self._survival(b, MONTH, rbh, smokes)) - 1 + self.event_share

        return brentq(excess, -30, 5)

    def _survival(self, log_hazard, months, rbh, smokes):
        return np.exp(-np.exp(log_hazard + _effect(LOG_HAZARD, rbh, smokes)) * months**WEIBULL_SHAPE)

    def survival(self, months: float) -> float:
        """Share of implants that last longer than so many months."""
        return over_covariates(lambda rbh, smokes: self._survival(self.log_hazard_at_mean, months, rbh, smokes))

    def risk_at(self, rbh_mm: float) -> float:
        """Share perforated if every site had this bone height."""
        b, slope = self.log_odds_at_mean, LOG_ODDS["rbh_mid_mm"] * (rbh_mm - RBH_MEAN_MM)
        return float((1 - SMOKERS) * expit(b + slope) + SMOKERS * expit(b + slope + LOG_ODDS["smoking[current]"]))

    @cached_property
    def truth(self) -> dict[str, float]:
        """What the estimators estimate."""
        shape, b = WEIBULL_SHAPE, self.log_hazard_at_mean
        return {
            "share": self.event_share,
            "survival": self.survival(MONTH),
            "failure": (1 - self.survival(MONTH)) * np.exp(-DEATHS_A_MONTH * MONTH)
            + quad(lambda t: (1 - self.survival(t)) * DEATHS_A_MONTH * np.exp(-DEATHS_A_MONTH * t), 0, MONTH)[0],
            "mean_months": quad(self.survival, 0, MONTH)[0],
            "risk_difference": 100 * (self.risk_at(4.0) - self.risk_at(7.0)),
            "gain_alike": GAIN_PATIENT_SD**2 / (GAIN_PATIENT_SD**2 + GAIN_SITE_SD**2 + GAIN_VISIT_SD**2),
            "depth_alike": DEPTH_PATIENT_SD**2 / (DEPTH_PATIENT_SD**2 + DEPTH_SITE_SD**2),
            "depth_bias": DEPTH_BIAS_MM,
            "depth_low": DEPTH_BIAS_MM - 1.959964 * np.hypot(DEPTH_PATIENT_SD, DEPTH_SITE_SD),
            "depth_high": DEPTH_BIAS_MM + 1.959964 * np.hypot(DEPTH_PATIENT_SD, DEPTH_SITE_SD),
            **{f"log_odds {term}": effect for term, effect in LOG_ODDS.items()},
            **{f"log_hazard {term}": effect for term, effect in LOG_HAZARD.items()},
            **{f"log_time {term}": -effect / shape for term, effect in LOG_HAZARD.items()},
            "log_time (intercept)": -(b - LOG_HAZARD["rbh_mid_mm"] * RBH_MEAN_MM) / shape,
            **{f"gain {term}": effect for term, effect in GAIN_MM.items()},
        }


def _effect(effects: dict[str, float], rbh, smokes):
    return effects["rbh_mid_mm"] * (rbh - RBH_MEAN_MM) + effects["smoking[current]"] * smokes


@dataclass(frozen=True)
class Series:
    """One series drawn.

    Attributes
    ----------
    seed : of its generator
    cases : one row a site
    visits : bone heights
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


def series_drawn(design: Design, *seed: int) -> Series:
    """Draws one series."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(design.n_patients), sizes_drawn(rng, design.n_patients))
    n = len(patient)
    rbh = RBH_MEAN_MM + RBH_SD_MM * scores_drawn(rng, patient, RBH_ALIKE)
    smokes = (rng.random(design.n_patients) < SMOKERS)[patient]
    risk = expit(design.log_odds_at_mean + _effect(LOG_ODDS, rbh, smokes))
    perforated = ndtr(scores_drawn(rng, patient, design.alike)) < risk

    hazard = np.exp(design.log_hazard_at_mean + _effect(LOG_HAZARD, rbh, smokes))
    fails = (-log_ndtr(scores_drawn(rng, patient, design.alike)) / hazard) ** (1 / WEIBULL_SHAPE)
    dies = rng.exponential(1 / DEATHS_A_MONTH, design.n_patients)[patient]
    leaves = np.minimum(
        rng.exponential(1 / DROPOUTS_A_MONTH, design.n_patients), rng.uniform(*END_MONTHS, design.n_patients)
    )[patient]

    protrusion = rng.uniform(1, 6, n)
    depth_error = (
        DEPTH_BIAS_MM
        + DEPTH_PATIENT_SD * rng.standard_normal(design.n_patients)[patient]
        + DEPTH_SITE_SD * rng.standard_normal(n)
    )
    site_id = np.array([f"S{i:04d}" for i in range(n)], object)
    cases = pd.DataFrame(
        {
            "site_id": site_id,
            "patient_id": np.array([f"P{i:04d}" for i in patient], object),
            "smoking": pd.Categorical.from_codes(smokes.astype(int), categories=["never", "current"]).set_categories(
                ["never", "former", "current", "unknown"]
            ),
            "perforation": pd.Categorical.from_codes(perforated.astype(int), categories=["no", "yes"]),
            "rbh_mid_mm": rbh,
            "rbh_band": band(pd.Series(rbh), [4, 6]),
            "protrusion_mm": protrusion,
            "planned_last_mm": rbh,
            "achieved_last_mm": rbh + depth_error,
            "last_error_mm": depth_error,
        }
    )
    end = np.minimum(fails, np.minimum(dies, leaves))
    implants = cases.assign(months=end, failed=fails == end, died=dies == end, last_in_function=end)
    return Series(
        design=design,
        seed=seed,
        cases=cases,
        visits=bone_heights_drawn(rng, patient, site_id, rbh, protrusion, smokes),
        implants=implants,
        seen=as_visits_tell(implants, fails, np.minimum(dies, leaves)),
    )


def bone_heights_drawn(rng, patient, site_id, rbh, protrusion, smokes) -> pd.DataFrame:
    """Visits of every site at GAIN_VISITS with a bone height."""
    n, n_visits = len(site_id), len(GAIN_VISITS)
    own = GAIN_PATIENT_SD * rng.standard_normal(patient.max() + 1)[patient] + GAIN_SITE_SD * rng.standard_normal(n)
    linear = GAIN_MM["(intercept)"] + GAIN_MM["protrusion_mm"] * protrusion + GAIN_MM["smoking[current]"] * smokes
    months = np.tile(GAIN_VISITS, n)
    gain = np.repeat(linear + own, n_visits) + GAIN_MM["months"] * months
    gain = gain + GAIN_VISIT_SD * rng.standard_normal(len(gain))
    return pd.DataFrame(
        {
            "site_id": np.repeat(site_id, n_visits),
            "months": months,
            "status": "functioning",
            "bone_height_mm": np.repeat(rbh, n_visits) + gain,
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
