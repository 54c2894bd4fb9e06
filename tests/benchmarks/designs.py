"""Kinds of case series and what is true in each, for the study of coverage.

In the plain designs a logistic, a Cox and a Weibull model of the sites' margins are all exactly true, however much the
sites of a patient resemble each other. Each hard design breaks something: the number of sites tells of the risk, the
risk has a kink, patients' effects have heavy tails or their slopes differ, patients whose implants fail early stay
away, a few patients have half of the sites.

**What is true then.** Every estimand is one of the sites: a share is E[events] / E[sites], a survival probability that
of a site drawn from all sites, a depth error likewise. Where the model of a headline is wrong, its coefficient is what
the estimate goes to with ever more patients, sites taken as they are: maximum likelihood of the logistic model and the
risks standardised from it; Cox's partial likelihood and the Weibull likelihood under the design's own censoring. Both
the copula's margins and the logistic model are worked out by quadrature. `large_draw.csv` has the rest, from one very
large draw (`large_draw.py`), each with its error: below a tenth, most below a thirtieth, of a series' standard error.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import expit, ndtr

SITES_SHARE = np.array([0.35, 0.25, 0.15, 0.10, 0.05, 0.04, 0.03, 0.03])  # of patients with 1, 2 … 8 sites
FEW_LARGE = np.array([0.80, 0.08, 0, 0, 0, 0, 0, 0.12])  # one in eight patients has half of the sites
SMOKERS = 0.3
RBH_MEAN_MM, RBH_SD_MM, BANDS_MM = 5.0, 1.5, (4, 6)
LOG_ODDS = {"rbh_mid_mm": -0.3, "smoking[current]": np.log(2.0)}
LOG_HAZARD = {"rbh_mid_mm": -0.2, "smoking[current]": np.log(1.5)}
STEEPER_BELOW_KINK = 3.0  # times the plain slope below the mean height; none above
WEIBULL_SHAPE = 0.8  # failures come early
MONTH = 36.0
DEATHS_A_MONTH = 0.002
GAIN_MM = {"(intercept)": 2.0, "protrusion_mm": 0.5, "smoking[current]": -0.3, "months": -0.01}
MARGINAL_MM = {"(intercept)": 0.5, "healing[transmucosal]": 0.2, "months": 0.01}
MARGINAL_SD = (0.4, 0.3, 0.3)  # of patients, of sites within them, of visits
TRANSMUCOSAL = 0.4
PROTRUSION_MM = (1.0, 6.0)  # evenly between them
DEPTH_BIAS_MM, DEPTH_PATIENT_SD, DEPTH_SITE_SD = 0.1, 0.5, 0.5
ENDED = {"at_plan": 0.5, "opened_before": 0.35, "deeper": 0.1, "short": 0.05}
TRUTHS = Path(__file__).with_name("large_draw.csv")  # large_draw.py makes it

_NODE = (np.arange(-1200, 1200) + 0.5) / 150  # of bone heights, in standard deviations; bands' edges lie between them
_WEIGHT = np.exp(-(_NODE**2) / 2) / np.exp(-(_NODE**2) / 2).sum()
_FEW_NODE, _FEW_WEIGHT = np.polynomial.hermite_e.hermegauss(15)
_FEW_WEIGHT = _FEW_WEIGHT / _FEW_WEIGHT.sum()


@dataclass(frozen=True)
class Design:
    """One kind of series.

    Attributes
    ----------
    n_patients
    event_share : of sites perforated, and of implants failed by MONTH
    alike : correlation of the scores of two sites of a patient
    sites_share : of patients with 1, 2 … sites
    by_size : log odds and log hazard more for each further site that the patient has
    by_size_mm : depth error, gain and marginal bone more for each further site
    kink : the risk falls with the bone height up to its mean and is level from there
    heavy : patients' effects have Student's t distribution with 3 degrees of freedom in place of the normal one
    slope_sd : of the log odds and log hazard a mm of bone height, between patients
    month_sd_mm : of the gain and of the marginal bone a month, between patients
    leaves_by_frailty : log rate of staying away more for a patient's effect one higher, which has implants fail early
    """

    name: str
    n_patients: int
    event_share: float
    alike: float
    sites_share: tuple[float, ...] = tuple(SITES_SHARE)
    by_size: float = 0.0
    by_size_mm: float = 0.0
    kink: bool = False
    heavy: bool = False
    slope_sd: float = 0.0
    month_sd_mm: float = 0.0
    leaves_by_frailty: float = 0.0

    @cached_property
    def size_of_a_site(self) -> tuple[np.ndarray, np.ndarray]:
        """Numbers of sites, and the share of sites whose patient has so many."""
        share = np.array(self.sites_share)
        size = np.arange(1.0, len(share) + 1)
        return size, share * size / (share @ size)

    @property
    def mean_size(self) -> float:
        size, share = self.size_of_a_site
        return float(size @ share)

    @property
    def plain(self) -> bool:
        """Whether the models of the margins are exactly true."""
        return not (self.by_size or self.kink or self.slope_sd)

    @cached_property
    def population(self) -> Population:
        """Every kind of site and its share of the sites."""
        size, share = self.size_of_a_site if self.by_size else (np.array([self.mean_size]), np.ones(1))
        slope, slope_share = (_FEW_NODE * self.slope_sd, _FEW_WEIGHT) if self.slope_sd else (np.zeros(1), np.ones(1))
        axes = np.meshgrid(RBH_MEAN_MM + RBH_SD_MM * _NODE, [0.0, 1.0], size, slope, indexing="ij")
        shares = np.meshgrid(_WEIGHT, [1 - SMOKERS, SMOKERS], share, slope_share, indexing="ij")
        return Population(*(axis.ravel() for axis in axes), np.prod(shares, axis=0).ravel())

    def effect(self, effects: dict[str, float], rbh, smokes, size, slope):
        """Log odds or log hazard more than that of a non-smoker at the mean bone height, patients of the mean size."""
        height = rbh - RBH_MEAN_MM
        if self.kink:
            height = STEEPER_BELOW_KINK * np.minimum(height, 0)
        by_height = (effects["rbh_mid_mm"] + slope) * height
        return by_height + effects["smoking[current]"] * smokes + self.by_size * (size - self.mean_size)

    @cached_property
    def log_odds_at_mean(self) -> float:
        """Log odds of a perforation of a non-smoker at the mean bone height."""
        effect = self.effect(LOG_ODDS, *self.population.kinds)
        return brentq(lambda b: self.population.share @ expit(b + effect) - self.event_share, -20, 5)

    @cached_property
    def log_hazard_at_mean(self) -> float:
        """log of λ in S(t) = exp(-λ t^shape) of a non-smoker at the mean bone height."""
        return brentq(lambda b: self._survival(b, MONTH) - 1 + self.event_share, -30, 5)

    def _survival(self, log_hazard: float, months: float) -> float:
        hazard = np.exp(log_hazard + self.effect(LOG_HAZARD, *self.population.kinds))
        return float(self.population.share @ np.exp(-hazard * months**WEIBULL_SHAPE))

    def survival(self, months: float) -> float:
        """Share of implants that last longer than so many months."""
        return self._survival(self.log_hazard_at_mean, months)

    def logistic(self, x: np.ndarray) -> np.ndarray:
        """Coefficients of the logistic model of all sites on columns of their kinds, shape (n_kinds, p)."""
        risk = expit(self.log_odds_at_mean + self.effect(LOG_ODDS, *self.population.kinds))
        beta = np.zeros(x.shape[1])
        weighted = x.T * self.population.share
        for _ in range(50):
            p = expit(x @ beta)
            beta = beta + np.linalg.solve((weighted * (p * (1 - p))) @ x, weighted @ (risk - p))
        return beta

    @cached_property
    def by_height(self) -> np.ndarray:
        """Intercept (at the mean height), slope and smoking's effect of the logistic model; shape (3,)."""
        rbh, smokes, *_ = self.population.kinds
        return self.logistic(np.column_stack([np.ones(len(rbh)), rbh - RBH_MEAN_MM, smokes]))

    def real_risk_at(self, rbh_mm: float) -> float:
        """Share perforated if every site had this bone height."""
        rbh, *others = self.population.kinds
        effect = self.effect(LOG_ODDS, np.full_like(rbh, rbh_mm), *others)
        return float(self.population.share @ expit(self.log_odds_at_mean + effect))

    def risk_at(self, rbh_mm: float) -> float:
        """The same by the logistic model, which takes the log odds as straight in the height."""
        intercept, slope, smoking = self.by_height
        return _standardised(intercept + slope * (rbh_mm - RBH_MEAN_MM), smoking)

    @cached_property
    def of_bands(self) -> dict[str, float]:
        """By band of heights: the share of its sites perforated, and that if every site were of the band, by the
        logistic model on bands and smoking."""
        rbh, smokes, *_ = self.population.kinds
        low, high = BANDS_MM
        bands = np.column_stack([rbh < low, (rbh >= low) & (rbh < high), rbh >= high])
        risk = expit(self.log_odds_at_mean + self.effect(LOG_ODDS, *self.population.kinds))
        shares = (self.population.share * risk) @ bands / (self.population.share @ bands)
        *at, smoking = self.logistic(np.column_stack([bands, smokes]).astype(float))
        names = [f"rbh_band={band}" for band in (f"<{low:g}", f"{low:g} to <{high:g}", f"≥{high:g}")]
        return {
            **dict(zip((f"rate {name}" for name in names), shares.tolist(), strict=True)),
            **{f"risk {name}": _standardised(b, smoking) for name, b in zip(names, at, strict=True)},
        }

    def marginal_beyond(self, mm: float) -> float:
        """Share of sites whose marginal bone at 12 months lies deeper than so many mm, patients' effects normal."""
        size, share = self.size_of_a_site
        mean = MARGINAL_MM["(intercept)"] + 12 * MARGINAL_MM["months"] + self.by_size_mm * (size - self.mean_size)
        sd = np.sqrt(np.sum(np.square(MARGINAL_SD)) + (12 * self.month_sd_mm) ** 2)
        deeper = mean + MARGINAL_MM["healing[transmucosal]"]
        return float(share @ ((1 - TRANSMUCOSAL) * ndtr((mean - mm) / sd) + TRANSMUCOSAL * ndtr((deeper - mm) / sd)))

    @cached_property
    def exact(self) -> dict[str, float]:
        """Truths worked out by quadrature."""
        size, share_of_size = self.size_of_a_site
        by_size = self.by_size_mm * np.sqrt(share_of_size @ (size - self.mean_size) ** 2)
        depth_sd = np.sqrt(DEPTH_PATIENT_SD**2 + DEPTH_SITE_SD**2 + by_size**2)
        truth = {
            "share": self.event_share,
            "bound": 1.0,
            "survival": self.survival(MONTH),
            "failure": (1 - self.survival(MONTH)) * np.exp(-DEATHS_A_MONTH * MONTH)
            + quad(lambda t: (1 - self.survival(t)) * DEATHS_A_MONTH * np.exp(-DEATHS_A_MONTH * t), 0, MONTH)[0],
            "mean_months": quad(self.survival, 0, MONTH)[0],
            "risk at 4": self.risk_at(4.0),
            "risk at 7": self.risk_at(7.0),
            "risk_difference": 100 * (self.risk_at(4.0) - self.risk_at(7.0)),
            "real risk at 4": self.real_risk_at(4.0),
            "real risk at 7": self.real_risk_at(7.0),
            "real risk_difference": 100 * (self.real_risk_at(4.0) - self.real_risk_at(7.0)),
            "depth_bias": DEPTH_BIAS_MM,
            "depth_low": DEPTH_BIAS_MM - 1.959964 * depth_sd,
            "depth_high": DEPTH_BIAS_MM + 1.959964 * depth_sd,
            "gain at 12": GAIN_MM["(intercept)"]
            + GAIN_MM["protrusion_mm"] * np.mean(PROTRUSION_MM)
            + GAIN_MM["smoking[current]"] * SMOKERS
            + 12 * GAIN_MM["months"],
            "marginal at 12": MARGINAL_MM["(intercept)"]
            + 12 * MARGINAL_MM["months"]
            + TRANSMUCOSAL * MARGINAL_MM["healing[transmucosal]"],
            **{f"ended {how}": share for how, share in ENDED.items()},
            **dict(zip((f"log_odds {term}" for term in LOG_ODDS), self.by_height[1:], strict=True)),
            **self.of_bands,
            **{f"gain {term}": effect for term, effect in GAIN_MM.items()},
            **{f"marginal {term}": effect for term, effect in MARGINAL_MM.items() if term != "(intercept)"},
        }
        if not self.heavy:
            truth["marginal beyond 2 at 12"] = self.marginal_beyond(2.0)
        if not by_size:
            truth["depth_alike"] = DEPTH_PATIENT_SD**2 / (DEPTH_PATIENT_SD**2 + DEPTH_SITE_SD**2)
        if self.plain:
            truth |= {f"log_hazard {term}": effect for term, effect in LOG_HAZARD.items()}
            truth |= {f"log_time {term}": -effect / WEIBULL_SHAPE for term, effect in LOG_HAZARD.items()}
        return truth

    @property
    def truth(self) -> dict[str, float]:
        """What the estimators estimate; an estimand without a truth here is not asked for."""
        return drawn_truths().get(self.name, {}) | self.exact


def _standardised(log_odds: float, smoking: float) -> float:
    return float((1 - SMOKERS) * expit(log_odds) + SMOKERS * expit(log_odds + smoking))


@dataclass(frozen=True)
class Population:
    """Kinds of sites; each shape (n_kinds,). `slope` is what the patient's slope differs by."""

    rbh: np.ndarray
    smokes: np.ndarray
    size: np.ndarray
    slope: np.ndarray
    share: np.ndarray

    @property
    def kinds(self) -> tuple[np.ndarray, ...]:
        return self.rbh, self.smokes, self.size, self.slope


@cache
def drawn_truths() -> dict[str, dict[str, float]]:
    """Name of a design -> estimand -> truth, of those that come of a very large draw."""
    if not TRUTHS.is_file():
        return {}
    table = pd.read_csv(TRUTHS)
    return {name: dict(zip(part["estimand"], part["truth"], strict=True)) for name, part in table.groupby("design")}


DESIGNS = {
    "usual": Design("150 patients, 5 % events", 150, 0.05, 0.3),
    "strong": Design("100 patients, 5 % events, strongly clustered", 100, 0.05, 0.6),
    "small": Design("60 patients, 5 % events", 60, 0.05, 0.3),
    "sparse": Design("150 patients, 2 % events", 150, 0.02, 0.3),
    "many_more": Design(
        "100 patients, 5 % events, more in patients with many sites", 100, 0.05, 0.3, by_size=0.3, by_size_mm=0.1
    ),
    "many_fewer": Design(
        "100 patients, 5 % events, fewer in patients with many sites",
        100,
        0.05,
        0.3,
        by_size=-0.3,
        by_size_mm=-0.1,
    ),
    "kinked": Design("100 patients, 5 % events, risk level above 5 mm", 100, 0.05, 0.3, kink=True),
    "heavy": Design("100 patients, 5 % events, patients' effects t(3)", 100, 0.05, 0.5, heavy=True),
    "slopes": Design(
        "100 patients, 5 % events, patients' slopes differ", 100, 0.05, 0.3, slope_sd=0.4, month_sd_mm=0.02
    ),
    "leaving": Design(
        "100 patients, 5 % events, patients with failures stay away", 100, 0.05, 0.5, leaves_by_frailty=0.5
    ),
    "few_large": Design(
        "80 patients, 5 % events, an eighth of them with 8 sites", 80, 0.05, 0.5, sites_share=tuple(FEW_LARGE)
    ),
}
