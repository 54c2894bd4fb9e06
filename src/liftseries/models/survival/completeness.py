"""How complete the follow-up is: at each planned month how many implants were due, seen, lost, not yet due.

What is due and who is lost: see `models.shared.due`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.due import closing_month, due_at, lost_before, month_in_words, reachable_months, seen_at
from liftseries.models.shared.follow_up import NO_IMPLANT, with_implant
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table
from liftseries.models.shared.share_rows import share_row

ANALYSIS = "followup.completeness"
METHOD = "patients"
RECALL_MONTHS = 12.0
COUNTS = ("n_placed", "n_not_yet_due", "n_due", "n_seen", "n_ended", "n_lost", "n_never_seen")


@dataclass(frozen=True)
class CompletenessEstimates(Estimates):
    """Completeness of follow-up.

    Attributes
    ----------
    by_month : `months` and COUNTS, a planned month a row
        Implants placed are due or not yet due. Of those due, `n_seen` were examined within 3 months of the month, or
        had failed or died by then; `n_ended` had failed or died by the month, `n_lost` were lost to follow-up before
        it, `n_never_seen` at no visit; the rest was in function at the month or at most 3 months before it.
    closed : `month` (2025-06), `implied`
        When the data were closed, and whether only the tables say so.
    """

    by_month: pd.DataFrame
    closed: pd.DataFrame


@dataclass(frozen=True)
class Placed:
    """The implants placed and what became of them; every array has shape (n,).

    Attributes
    ----------
    patient : whose implant it is
    reachable : months that its follow-up could have reached
    time, failed, died : as `follow_up` gives them; NaN and false where it was never seen
    """

    patient: np.ndarray
    reachable: np.ndarray
    time: np.ndarray
    failed: np.ndarray
    died: np.ndarray

    def counts(self, month: float, seen: np.ndarray) -> dict[str, int]:
        """COUNTS at a month; `seen` as `seen_at` gives it."""
        groups = groups_at(month, self.time, self.failed, self.died, self.reachable, seen)
        return {"n_placed": len(self.time)} | {name: int(group.sum()) for name, group in groups.items()}


def groups_at(month: float, time, failed, died, reachable, seen) -> dict[str, np.ndarray]:
    """COUNTS but the first -> which implants; all of shape (n,)."""
    due = due_at(month, reachable)
    return {
        "n_not_yet_due": ~due,
        "n_due": due,
        "n_seen": due & seen,
        "n_ended": due & (failed | died) & (time <= month),
        "n_lost": lost_before(month, time, failed, died, reachable),
        "n_never_seen": due & np.isnan(time),
    }


def fit_followup_completeness(
    cases: pd.DataFrame, implants: pd.DataFrame, visits: pd.DataFrame, months: Sequence[float], data_until: str
) -> CompletenessEstimates:
    """Share of the implants due at each planned month of which it is known how they fared.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    implants : one row an implant, as `follow_up()` gives it
    visits : the contract's visits
    months : at which survival is stated; the yearly recalls up to the last of them are planned besides
    data_until : the month in which the data were closed, or ""

    Returns
    -------
    CompletenessEstimates
        A row a month, scale `probability`; n_sites are due, n_events seen.
    """
    closed = closing_month(data_until, cases, visits)
    placed = cases.loc[with_implant(cases)]
    group = _placed(placed, implants, reachable_months(placed, closed))
    note = "" if data_until else remark("closing_implied")
    rows, effects, table = [], [], []
    for month in planned_months(months):
        seen = seen_at(month, placed, visits)
        due = due_at(month, group.reachable)
        table.append({"months": month} | group.counts(month, seen))
        problem = remark("none_followed") if implants.empty else ""
        row, effect = _row(f"{month:g}", seen[due], group.patient[due], note, problem)
        rows.append(row)
        effects += effect
    told = [] if np.isnan(closed) else [(month_in_words(closed), not data_until)]
    return CompletenessEstimates(
        rows=results_table(rows),
        design_effects=results_table(effects),
        left_out=left_out_table(ANALYSIS, "all", [(NO_IMPLANT, len(cases) - len(placed))]),
        by_month=pd.DataFrame(table, columns=["months", *COUNTS]),
        closed=pd.DataFrame(told, columns=["month", "implied"]),
    )


def planned_months(months: Sequence[float]) -> list[float]:
    """The months at which survival is stated, and the yearly recalls up to the last of them."""
    yearly = np.arange(RECALL_MONTHS, max(months, default=0.0) + 1e-9, RECALL_MONTHS)
    return sorted({*map(float, months), *yearly.tolist()})


def _placed(placed: pd.DataFrame, implants: pd.DataFrame, reachable: np.ndarray) -> Placed:
    told = implants.set_index(implants["site_id"].astype(object))[["months", "failed", "died"]]
    told = told.reindex(placed["site_id"].astype(object))
    failed, died = (told[name].eq(True).to_numpy(bool) for name in ("failed", "died"))
    return Placed(placed["patient_id"].to_numpy(), reachable, told["months"].to_numpy(float), failed, died)


def _row(term: str, seen: np.ndarray, patient: np.ndarray, note: str, problem: str) -> tuple[dict, list[dict]]:
    """A month's row and its design effect."""
    counts = {"n_sites": len(seen), "n_patients": len(pd.unique(patient)), "n_events": int(seen.sum())}
    fit = Fit(ANALYSIS, "all", "probability", METHOD, **counts, note=note)
    if problem or not len(seen):
        return fit.row(term, problem=problem or remark("none_due")), []
    return share_row(fit, term, seen, patient)
