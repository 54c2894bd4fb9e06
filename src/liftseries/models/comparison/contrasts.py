"""Rows of a comparison: each group's number, and differences and ratios against the reference, by every method.

A patient's influence on an estimate is the derivative in that patient's weight with all models refitted; with K
patients in the population the variance is K / (K - 1) Σ influence², by t(K - 1) below 50 of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import expit, logit

from liftseries.base.remarks import joined, remark, remarks_in
from liftseries.estimators.balancing import INVERSE_PROBABILITY, OVERLAP
from liftseries.estimators.intervals import CONF_LEVEL, NotFitted, critical_value
from liftseries.estimators.kaplan_meier import log_log_interval
from liftseries.models.comparison.compared import Compared
from liftseries.models.comparison.doubts import doubts
from liftseries.models.comparison.gates import EVENTS_IN_BOTH, contrast_gate, enough_patients, operators_of
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Fit

CRUDE, G_COMPUTATION = "crude", "g_computation"
METHODS = (CRUDE, G_COMPUTATION, OVERLAP, INVERSE_PROBABILITY)  # that a row may have
DIFFERENCE, RATIO = "difference", "ratio"


@dataclass(frozen=True)
class Found:
    """What a method says of the groups.

    Attributes
    ----------
    value : shape (G,); of an outcome of which only differences are told, against any common zero
    influence : shape (n, G), of each site
    why : level -> why there is no number; its value is NaN
    """

    value: np.ndarray
    influence: np.ndarray
    why: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """An outcome as its rows need it.

    Attributes
    ----------
    analysis
    scale : of a group's number
    of_difference : scale of a difference
    term : of a group's number, `risk`; "" where only differences are told
    at : after every term, ` at 36`
    ratio : whether ratios are told
    event : shape (n,), by which the gates count; None for a measurement
    counted : shape (n,), what n_events counts; None for a measurement
    measured : shape (n,), of a measurement each site's own, mm, of months in function those lost; None for a share
    crude_row : of a level, where a group's own interval is another than by influence
    gate : level -> why a row of it is no headline, "" where it may be one
    """

    analysis: str
    scale: str
    of_difference: str
    term: str = ""
    at: str = ""
    ratio: bool = False
    event: np.ndarray | None = None
    counted: np.ndarray | None = None
    measured: np.ndarray | None = None
    crude_row: Callable[[Fit, str, str], dict] | None = None
    gate: Callable[[str], str] = lambda level: ""

    def named(self, what: str, level: str) -> str:
        """A term: `risk[B]`, `difference[B] at 36`."""
        return f"{what}[{level}]{self.at}"


def found_or_why(estimate: Callable[[], Found]) -> Found | str:
    """What a method says, or why it says nothing."""
    try:
        return estimate()
    except NotFitted as why:
        return str(why)


def comparison_rows(population: Compared, outcome: Outcome, answers: Mapping[str, Found | str]) -> list[dict]:
    """Rows of an outcome in a population, term by term and in it method by method.

    Parameters
    ----------
    population
    outcome
    answers : method -> what it says, or why it says nothing
    """
    asked = population.asked
    if not asked.levels:
        term = (outcome.term or DIFFERENCE) + outcome.at
        return [
            population.fit(outcome.analysis, outcome.scale, method, ()).row(term, problem=asked.why_nothing)
            for method in answers
        ]
    rows = []
    if outcome.term:
        for level in asked.levels:
            first = asked.weights[0] if enough_patients(population, level, outcome.event) else CRUDE
            rows += quoted([_level_row(population, outcome, level, *one) for one in answers.items()], first)
    kinds = (DIFFERENCE, RATIO) if outcome.ratio else (DIFFERENCE,)
    for kind in kinds:
        for level in asked.others:
            rows += _contrast_rows(population, outcome, kind, level, answers)
    return rows


def quoted(rows: list[dict], first: str) -> list[dict]:
    """The rows of a term, one of them the headline: that of the method `first`, or the crude one where it is refused.

    A row that may be none has its reason in `gate`. Of a group with one patient who has the event, or none, the crude
    row is the headline: it has the exact bound.
    """
    by_method = {row["method"]: row for row in rows}
    weighted, crude = by_method[first], by_method[CRUDE]
    head = weighted if _stands(weighted) else crude
    if head is crude and weighted["problem"] and _stands(crude):
        head["note"] = joined(head["note"], remark("unadjusted", why=weighted["problem"]))
    if _stands(head) and not head["gate"]:
        head["headline"] = True
    for row in rows:
        row["note"] = joined(row["note"], row.pop("gate"))
    return rows


def _stands(row: dict) -> bool:
    """Whether a row has an interval."""
    return not np.isnan(row.get("conf_low", np.nan))


# ── a group's number ────────────────────────────────────────────────────────────────────────────────────────


def _level_row(population: Compared, outcome: Outcome, level: str, method: str, answer: Found | str) -> dict:
    fit = population.fit(outcome.analysis, outcome.scale, method, (level,), outcome.counted)
    term, gate = outcome.named(outcome.term, level), outcome.gate(level)
    if level not in population.levels:
        return fit.row(term, problem=population.why_empty(level), gate="")
    if method == CRUDE and outcome.crude_row:
        return outcome.crude_row(fit, term, level) | {"headline": False, "gate": gate}
    if isinstance(answer, str) or answer.why.get(level):
        return fit.row(term, problem=answer if isinstance(answer, str) else answer.why[level], gate=gate)
    g = population.levels.index(level)
    fit = replace(fit, df=population.df, note=_note(population, method))
    return _with_interval(fit, term, float(answer.value[g]), _std_error(population, answer.influence[:, g])) | {
        "gate": gate
    }


def _with_interval(fit: Fit, term: str, value: float, std_error: float) -> dict:
    """A group's number: logit limits of a risk, log-log ones of a survival, plain ones of months."""
    if not std_error > NO_STD_ERROR:
        return fit.row(term, value, problem=_why_no_error(fit, value), df=None)
    width = critical_value(fit.df)
    if fit.scale == "risk":
        low, high = expit(logit(value) + np.array([-1, 1]) * width * std_error / (value * (1 - value)))
    elif fit.scale == "probability":
        low, high = (float(limit) for limit in log_log_interval(value, std_error, width))
    else:
        low, high = value - width * std_error, value + width * std_error
    return fit.row(term, value, std_error, conf_low=float(low), conf_high=float(high), conf_level=CONF_LEVEL)


def _why_no_error(fit: Fit, value: float) -> str:
    if fit.scale == "risk" and fit.n_events in (0, fit.n_sites):
        return remark("all_in_group_with_event" if fit.n_events else "none_in_group_with_event")
    if fit.scale == "probability":
        return remark("no_failure_by_then" if value > 0 else "all_failed")
    if fit.scale == "months":
        return remark("no_months_lost")
    return ZERO_STD_ERROR


def _note(population: Compared, method: str) -> str:
    of_x = "" if method == CRUDE else population.note
    return joined(of_x, "" if population.df is None else remark("t_less_one"))


def _std_error(population: Compared, influence: np.ndarray) -> float:
    """From the patients: √(K / (K - 1) Σ influence²)."""
    k = population.n_patients
    sums = np.bincount(population.patient, weights=influence, minlength=k)
    return float(np.sqrt(k / max(k - 1, 1) * sums @ sums))


# ── contrasts ───────────────────────────────────────────────────────────────────────────────────────────────


def _contrast_rows(
    population: Compared, outcome: Outcome, kind: str, level: str, answers: Mapping[str, Found | str]
) -> list[dict]:
    """A difference or ratio by every method; of the headline the larger of the patients' and operators' variance."""
    asked, pair = population.asked, (level, population.asked.reference)
    why = contrast_gate(population, level, outcome.event)
    gate = joined(*dict.fromkeys(outcome.gate(one) for one in pair), _few_without(population, outcome, pair))
    scale, term = ("log_risk_ratio" if kind == RATIO else outcome.of_difference), outcome.named(kind, level)
    rows, apart, fits = [], {}, {}
    for method, answer in answers.items():
        fit = population.fit(outcome.analysis, scale, method, pair, outcome.counted)
        problem = why or (answer if isinstance(answer, str) else joined(*(answer.why.get(one, "") for one in pair)))
        if problem:
            rows.append(fit.row(term, problem=problem, gate=""))
            continue
        value, apart[method] = _contrast(population, answer, pair, kind == RATIO)
        fit = fits[method] = replace(fit, df=population.df, note=_note(population, method))
        rows.append(fit.wald_row(term, value, _std_error(population, apart[method])) | {"gate": gate})
    rows = quoted(rows, asked.weights[0])
    return [
        _by_operators(population, outcome, fits[row["method"]], row, apart[row["method"]], pair)
        if row["headline"]
        else row
        for row in rows
    ]


def _contrast(population: Compared, found: Found, pair: tuple[str, str], ratio: bool) -> tuple[float, np.ndarray]:
    a, b = (population.levels.index(one) for one in pair)
    value, influence = found.value, found.influence
    if not ratio:
        return float(value[a] - value[b]), influence[:, a] - influence[:, b]
    return float(np.log(value[a] / value[b])), influence[:, a] / value[a] - influence[:, b] / value[b]


def _few_without(population: Compared, outcome: Outcome, pair: tuple[str, str]) -> str:
    """That a share near 1 has too few sites without the event to be quoted."""
    if outcome.event is None:
        return ""
    n_sites = int((population.of(*pair) & ~outcome.event).sum())
    return remark("few_without_event", n_sites=n_sites) if n_sites < EVENTS_IN_BOTH else ""


def _by_operators(
    population: Compared, outcome: Outcome, fit: Fit, row: dict, influence: np.ndarray, pair: tuple[str, str]
) -> dict:
    """The headline contrast, with what keeps it open; where group and operator go together by t(J - 2).

    Operators' variance: J / (J - 2) Σ influence² summed by operator, J of the two groups, taken where it is larger;
    sites whose operator is not known stand each for itself. Where they do not go together, but lean, the row says so.
    """
    found = operators_of(population, pair)
    problem = joined(*doubts(population, pair, row, outcome.event, outcome.measured))
    if not found.tied:
        return row | {"problem": problem}
    j = found.n_operators
    known = found.code >= 0
    sums = np.bincount(found.code[known], weights=influence[known])
    of_operators = float(np.sqrt(j / (j - 2) * (sums @ sums + influence[~known] @ influence[~known])))
    name = "between_operators" if of_operators > row["std_error"] else "between_patients"
    told = [str(one) for one in remarks_in(row["note"]) if one.name != "t_less_one"]
    fit = replace(fit, df=j - 2, note=joined(*told, remark(name, n_operators=j)))
    row = fit.wald_row(row["term"], row["estimate"], max(row["std_error"], of_operators))
    return row | {"headline": True, "problem": problem}
