"""Series of two groups of which the truth is known, for the coverage of a comparison; see comparison_coverage.py.

A site's risk is b · exp(β (height - 6) + s smoker) · R if it is of group B, so that the ratio R is the same whatever
sites are weighed how, and the difference is R - 1 times a mean of the others' risks. Operators multiply the odds about
it: their effects, normal on the logit, shift whole operators up and down, the mean risk of each kind of site kept. The
group depends on height and smoking (confounding), the sites of a patient are alike by a copula. Where operators differ
the truth is that of operators yet to come, for whom the interval must hold too.

Sites that ended deeper than planned have the risk of a tear, drawn apart; those that strayed from the plan four times
it. Depth errors and bone gain: R has no part; a group differs by SHIFT_MM. Survival: exponential with log hazard along
the same terms, and no difference between the groups, so that every weighting has the truth 0, of months too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
from clustered_series import scores_drawn, sizes_drawn
from scipy.special import expit, logit, ndtr

from liftseries.models.comparison.compared import ALL, asked_of, populations
from liftseries.models.shared.cases import AS_DRILLED as HOW_DRILLED

LEVELS = ["never", "former", "current", "unknown"]
SMOKERS, SHIFT_MM, LARGEST_RISK = 0.3, 0.2, 0.95
VERY_MANY = 200_000  # patients of the draw that gives a truth
SITES_A_PATIENT = (0.55, 0.25, 0.12, 0.08)
VISITS = np.array([6.0, 12, 24, 36, 48])
STRAYED = 4  # times the risk of a tear
GAIN_MM, GAIN_A_MONTH = 5.0, -0.01


@dataclass(frozen=True)
class Design:
    """A kind of series.

    Attributes
    ----------
    n_patients
    risk : of a non-smoker at 6 mm in the reference group
    ratio : of the risks
    alike : correlation of the scores of two sites of a patient
    confounding : log odds of group B a mm, twice that for a smoker
    third : whether there is a third group, like the reference
    split_patients : whether each site has a group of its own; else a patient has one
    operators : how many, 0 for none
    operator_sd : of their effects, logit
    tied : share of an operator's sites in the operator's own group; 0.5: no tie
    """

    n_patients: int = 150
    risk: float = 0.10
    ratio: float = 1.0
    alike: float = 0.4
    confounding: float = 0.4
    third: bool = False
    split_patients: bool = False
    operators: int = 0
    operator_sd: float = 0.0
    tied: float = 0.5


DESIGNS = {
    "plain": Design(),
    "doubled": Design(ratio=2.0),
    "small": Design(n_patients=60, risk=0.2, ratio=1.5),
    "rare": Design(risk=0.05, ratio=1.6),
    "large": Design(n_patients=500, risk=0.08, ratio=1.5),
    "split": Design(split_patients=True, ratio=1.5),
    "strong_confounding": Design(confounding=1.0, ratio=1.5),
    "three_groups": Design(n_patients=220, third=True, ratio=1.5),
    **{
        f"operators_{n}_{sd}_{tie}": Design(
            n_patients=200,
            risk=0.15,
            operators=n,
            operator_sd=sd,
            tied={"tied": 1.0, "mostly": 0.75, "mixed": 0.5}[tie],
        )
        for n in (6, 10, 20)
        for sd in (0.4, 0.7)
        for tie in ("tied", "mostly", "mixed")
    },
}


@dataclass(frozen=True)
class Series:
    """One series: one row a site, and its implants."""

    cases: pd.DataFrame
    implants: pd.DataFrame
    visits: pd.DataFrame


def series_drawn(design: Design, *seed: int) -> Series:
    """Draws one series."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(design.n_patients), sizes_drawn(rng, design.n_patients, np.array(SITES_A_PATIENT)))
    n = len(patient)
    rbh = 6 + 1.5 * scores_drawn(rng, patient, 0.3)
    smokes = (rng.random(design.n_patients) < SMOKERS)[patient]
    operator = rng.integers(0, max(design.operators, 1), design.n_patients)[patient]
    group = groups_drawn(rng, design, patient, rbh, smokes, operator)
    effect = design.operator_sd * rng.standard_normal(max(design.operators, 1))
    shape = np.exp(-0.2 * (rbh - 6) + 0.4 * smokes)
    ratio = np.where(group == "B", design.ratio, 1.0)
    risk, strays = (
        with_operators(
            np.minimum(times * design.risk * shape * ratio, LARGEST_RISK), effect[operator], design.operator_sd
        )
        for times in (1, STRAYED)
    )
    torn = ndtr(scores_drawn(rng, patient, design.alike)) < risk
    error = 0.1 + SHIFT_MM * (group == "B") + 0.1 * (rbh - 6) + 0.4 * scores_drawn(rng, patient, 0.4)
    cases = pd.DataFrame(
        {
            "site_id": [f"S{i}" for i in range(n)],
            "patient_id": [f"P{k}" for k in patient],
            "operator": [f"op{k}" for k in operator] if design.operators else None,
            "surgery_year": 2020,
            "protocol": group,
            "rbh_mid_mm": rbh,
            "smoking": pd.Categorical.from_codes(2 * smokes.astype(int), categories=LEVELS),
            "perforation": pd.Categorical.from_codes(torn.astype(int), categories=["no", "yes", "unknown"]),
            "achieved_last_mm": error + 0.1 * effect[operator],
            "planned_last_mm": 0.0,
            "advance_too_large": False,
            "overdrilled": False,
        }
    )
    implants = implants_drawn(rng, cases, patient, shape, effect[operator])
    apart = np.random.default_rng((*seed, 1))  # what was added later changes nothing that was drawn before
    deeper, strayed = (ndtr(scores_drawn(apart, patient, design.alike)) < one for one in (risk, strays))
    drilled = {
        "ended": np.where(deeper, "deeper", "at_plan"),
        "first_too_deep": strayed,
        "as_drilled": pd.Categorical.from_codes(strayed.astype(int), categories=HOW_DRILLED),
    }
    cases = cases.assign(**drilled)
    gain = GAIN_MM + SHIFT_MM * (group == "B") + 0.1 * (rbh - 6) + 0.1 * effect[operator]
    gain = gain + 0.8 * scores_drawn(apart, patient, 0.5)
    return Series(cases, implants.assign(**drilled), visits_drawn(apart, implants, gain))


def groups_drawn(rng, design: Design, patient, rbh, smokes, operator) -> np.ndarray:
    """The group of each site: by height and smoking, or that of the operator."""
    first = np.unique(patient, return_index=True)[1]
    own = np.arange(len(patient)) if design.split_patients else first[patient]
    odds = (design.confounding * (rbh - 6) + 2 * design.confounding * (smokes - SMOKERS))[own]
    draw = rng.random(len(patient))[own]
    if design.operators:
        # An operator's group, alternating; with a tie of 0.5 height and smoking alone decide.
        pull = np.where(operator % 2 == 1, 1.0, -1.0)
        share = np.clip(expit(odds + pull * np.clip(logit(design.tied), -30, 30)), 0, 1)
        return np.where(draw < share, "B", "A")
    if design.third:
        b = expit(odds)
        return np.select([draw < b * 2 / 3, draw < 2 / 3], ["B", "A"], "C")
    return np.where(draw < expit(odds), "B", "A")


_NODE, _WEIGHT = np.polynomial.hermite_e.hermegauss(21)
_GRID = np.linspace(-8, 4, 241)


def with_operators(risk: np.ndarray, effect: np.ndarray, sd: float) -> np.ndarray:
    """Risks moved by the operators' effects on the logit, so that their mean over operators stays."""
    if sd == 0:
        return risk
    means = expit(_GRID[:, None] + sd * _NODE) @ (_WEIGHT / _WEIGHT.sum())
    return expit(np.interp(risk, means, _GRID) + effect)


def implants_drawn(rng, cases: pd.DataFrame, patient, shape, effect) -> pd.DataFrame:
    """Follow-up: failures of every twelfth implant or so by 36 months, found at the next visit."""
    when = -np.log1p(-ndtr(scores_drawn(rng, patient, 0.4))) / (0.0035 * shape * np.exp(effect))
    end = VISITS[rng.integers(2, len(VISITS), len(patient))]
    found = VISITS[np.minimum(np.searchsorted(VISITS, when), len(VISITS) - 1)]
    failed = (when <= end) & (found <= end)
    return cases.assign(months=np.where(failed, found, end), failed=failed)


def visits_drawn(rng, implants: pd.DataFrame, gain_mm: np.ndarray) -> pd.DataFrame:
    """The bone height at every visit that came, one in five not taken."""
    site, visit = np.nonzero(implants["months"].to_numpy()[:, None] >= VISITS)
    months = VISITS[visit]
    gain = gain_mm[site] + GAIN_A_MONTH * (months - 12) + 0.4 * rng.standard_normal(len(site))
    height = implants["rbh_mid_mm"].to_numpy()[site] + gain
    visits = pd.DataFrame({"site_id": implants["site_id"].to_numpy()[site], "months": months, "bone_height_mm": height})
    return visits[rng.random(len(site)) < 0.8].reset_index(drop=True)


@cache
def difference_of(design: Design, method: str, subset: str = ALL) -> float:
    """The difference in risks that a method goes to: of the risks themselves, in a very large draw; 0 for no ratio."""
    if design.ratio == 1:
        return 0.0
    cases = series_drawn(replace(design, n_patients=VERY_MANY), 1).cases
    asked = asked_of(cases, "protocol", "A", ["rbh_mid_mm", "smoking"], [method])
    population = next(populations(cases, {}, asked, [subset]))
    sites = population.sites
    shape = np.exp(-0.2 * (sites["rbh_mid_mm"] - 6) + 0.4 * sites["smoking"].eq("current")).to_numpy()
    of_a, of_b = (np.minimum(design.risk * shape * ratio, LARGEST_RISK) for ratio in (1.0, design.ratio))
    if method == "g_computation":
        return float((of_b - of_a).mean())
    w, b, a = population.weights(method).value, population.of("B"), population.of("A")
    return float(np.average(of_b[b], weights=w[b]) - np.average(of_a[a], weights=w[a]))
