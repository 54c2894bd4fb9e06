"""Rows of a penalised model: profile limits, the jackknife over patients, and the wider of both, which is quoted."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from liftseries.base.remarks import joined, names_in, remark
from liftseries.estimators.firth import FirthFit
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.estimators.patients_left_out import MOST_GROUPS
from liftseries.models.shared.gates import MANY_EVENTS, ratio_gate
from liftseries.models.shared.results import Fit
from liftseries.models.shared.separation import coefficient_row, strange_unit

PROFILE, JACKKNIFE, WIDER = "profile", "jackknife", "profile_or_jackknife"
FIRST_TERMS = "first_terms"  # of a model of the plan's first terms, as many as the events carry
NOT_FOUND = {
    "conf_low": remark("lower_profile_limit_not_found"),
    "conf_high": remark("upper_profile_limit_not_found"),
    "p_value": remark("likelihood_without_term_not_found"),
}


@dataclass(frozen=True)
class PenalisedRows:
    """What a penalised model gives.

    Attributes
    ----------
    rows, effects : of results.csv, and their design effects
    covariance, jackknife : shape (p, p), the penalised likelihood's and the jackknife's; None where there is none
    """

    rows: list[dict]
    effects: list[dict] = field(default_factory=list)
    covariance: np.ndarray | None = None
    jackknife: np.ndarray | None = None


def grouped_note(n_patients: int) -> str:
    """A remark where patients are so many that the jackknife leaves groups of them out, else nothing."""
    return remark("patients_left_out_in_groups", n_groups=MOST_GROUPS) if n_patients > MOST_GROUPS else ""


def jackknife_effects(fit: Fit, rows: list[dict], model: FirthFit) -> list[dict]:
    """Design effects of jackknife rows: their variance over that of the penalised likelihood, where they have one."""
    return fit.design_effect_rows([row["term"] for row in rows], [row["std_error"] for row in rows], model.std_error)


def profile_rows(fit: Fit, names: Sequence[str], model: FirthFit) -> list[dict]:
    """A row a term with its profile limits; a limit or p-value that is not found is empty and its problem says so."""
    rows = []
    for j, term in enumerate(names):
        found = {"conf_low": model.conf_low[j], "conf_high": model.conf_high[j], "p_value": model.p_value[j]}
        problems = [strange_unit(fit, term, model.coefficients[j])]
        problems += [NOT_FOUND[name] for name, value in found.items() if not np.isfinite(value)]
        rows.append(
            fit.row(
                term,
                model.coefficients[j],
                model.std_error[j],
                joined(*problems),
                **found,
                conf_level=CONF_LEVEL,
            )
        )
    return rows


def jackknife_rows(fit: Fit, names: Sequence[str], coefficients: np.ndarray, std_error: np.ndarray) -> list[dict]:
    """A row a term with the interval of its jackknife standard error."""
    return [coefficient_row(fit, *row) for row in zip(names, coefficients, std_error, strict=True)]


def wider_rows(fit: Fit, profile: Sequence[dict], jackknife: Sequence[dict], gate: str = "") -> list[dict]:
    """A row a term with the smaller of both lower limits and the larger of both upper ones: what the report quotes.

    The profile takes sites as independent, the jackknife has little to go by where few patients have an event; in
    simulated series each is too narrow where the other is not (tests/benchmarks/coverage.py). The p-value is the larger
    one, so that it agrees with the interval; standard error and degrees of freedom are the jackknife's.

    Parameters
    ----------
    fit : what these rows share
    profile, jackknife : rows of the same terms in the same order
    gate : why they are not to be quoted, as `quoted_gate` says; "" makes those with both limits headlines
    """
    rows = []
    for one, other in zip(profile, jackknife, strict=True):
        found = {
            name: (one.get(name, np.nan), other.get(name, np.nan)) for name in ("conf_low", "conf_high", "p_value")
        }
        low, high = np.minimum(*found["conf_low"]), np.maximum(*found["conf_high"])
        limits = {"conf_low": low, "conf_high": high, "conf_level": CONF_LEVEL}
        row = fit.row(
            one["term"],
            one["estimate"],
            other["std_error"],
            joined(*dict.fromkeys([one["problem"], other["problem"]])),
            p_value=np.maximum(*found["p_value"]),
            note=joined(fit.note, gate),
            df=other["df"],
            headline=not gate and bool(np.isfinite([low, high]).all()),
        )
        rows.append(row | (limits if np.isfinite([low, high]).any() else {}))
    return rows


def quoted_gate(n_events: int, n_terms: int, instead: str = "") -> str:
    """Why a penalised model's ratios are not to be quoted, as a remark; "" where they may be.

    Parameters
    ----------
    n_events
    n_terms : coefficients of the model, the constant aside
    instead : the unpenalised analysis that is quoted from many events on; "" where it has no finite answer
    """
    if n_events >= MANY_EVENTS and instead:
        return remark("not_penalised", analysis=instead, n_events=n_events)
    return ratio_gate(n_events, n_terms)


def is_instead(gate: str) -> bool:
    """Whether a gate says that a model without a penalty speaks instead, so that this one is not fitted."""
    return "not_penalised" in names_in(gate)
