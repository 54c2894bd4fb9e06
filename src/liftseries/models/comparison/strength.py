"""What could explain a ratio away, and what difference the series could have seen: from the quoted rows of the tear."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liftseries.base.remarks import joined, remark
from liftseries.estimators.evalue import e_value
from liftseries.models.comparison.contrasts import DIFFERENCE, RATIO
from liftseries.models.shared.gates import EVALUE
from liftseries.models.shared.results import Fit

EVALUE_ANALYSIS, DETECTABLE = "comparison.evalue", "comparison.detectable"
RISK_RATIO, POWER = "risk_ratio", "power"
LIMIT = "limit"
TWO_SIDED, POWER_80 = 1.960, 0.842  # standard normal: 5 % on both sides, 80 % power


def evalue_rows(rows: Sequence[dict]) -> list[dict]:
    """E-values of each group's headline ratio and of its limit nearer to 1, on the scale of a risk ratio.

    Parameters
    ----------
    rows : of comparison.perforation, as `comparison_rows` gives them

    Source: VanderWeele and Ding 2017, doi:10.7326/M16-2607.
    """
    told = []
    for term, row in _by_term(rows, RATIO).items():
        fit, of_limit = _fit_of(row, EVALUE_ANALYSIS, "E-value", RISK_RATIO), term.replace(RATIO, LIMIT, 1)
        if not row["headline"]:
            told += [fit.row(one, problem=row["problem"] or remark("no_contrast")) for one in (term, of_limit)]
            continue
        n_events = row["n_events"]
        gate = "" if n_events >= EVALUE else remark("below_gate_evalue", n_events=n_events)
        note = joined(remark("of_row", analysis=row["analysis"], method=row["method"]), gate)
        low, high = np.exp([row["conf_low"], row["conf_high"]])
        nearer = 1.0 if low <= 1 <= high else min((low, high), key=lambda limit: abs(np.log(limit)))
        for one, ratio in ((term, np.exp(row["estimate"])), (of_limit, nearer)):
            told.append(fit.row(one, e_value(float(ratio)), note=note, headline=not gate))
    return told


def detectable_rows(rows: Sequence[dict]) -> list[dict]:
    """The true difference that a series of this precision would have found with 80 % power, two-sided at 5 %.

    Parameters
    ----------
    rows : of comparison.perforation

    Source: the contract, section 4: (1.960 + 0.842) times the standard error.
    """
    told = []
    for term, row in _by_term(rows, DIFFERENCE).items():
        fit = _fit_of(row, DETECTABLE, "risk_difference", POWER)
        if not row["headline"]:
            told.append(fit.row(term, problem=row["problem"] or remark("no_contrast")))
            continue
        note = remark("of_row", analysis=row["analysis"], method=row["method"])
        told.append(fit.row(term, (TWO_SIDED + POWER_80) * row["std_error"], note=note, headline=True))
    return told


def _by_term(rows: Sequence[dict], kind: str) -> dict[str, dict]:
    """Term -> its headline row, or where there is none its first."""
    found: dict[str, dict] = {}
    for row in rows:
        if row["term"].startswith(f"{kind}[") and (row["term"] not in found or row["headline"]):
            found[row["term"]] = row
    return found


def _fit_of(row: dict, analysis: str, scale: str, method: str) -> Fit:
    counts = {name: row[name] for name in ("n_sites", "n_patients", "n_events")}
    return Fit(analysis=analysis, subset=row["subset"], scale=scale, method=method, **counts)
