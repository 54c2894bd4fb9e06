"""Rows of a penalised model: profile limits, and the jackknife over patients."""

from collections.abc import Sequence

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.firth import MOST_GROUPS, FirthFit
from liftseries.estimators.intervals import CONF_LEVEL
from liftseries.models.shared.results import Fit
from liftseries.models.shared.separation import coefficient_row, strange_unit

PROFILE, JACKKNIFE = "profile", "jackknife"
NOT_FOUND = {
    "conf_low": remark("lower_profile_limit_not_found"),
    "conf_high": remark("upper_profile_limit_not_found"),
    "p_value": remark("likelihood_without_term_not_found"),
}


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
