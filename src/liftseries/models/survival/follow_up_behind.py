"""Who stands behind what is told of follow-up and of complications.

| analysis | its numbers are worked out from |
|---|---|
| followup.completeness | implants due at the month, and those of them seen |
| followup.median | implants whose follow-up ended; a quartile lies among those before and after it |
| followup.implant_years, .rate, .failures | implants followed, and failed, early and late |
| complications.rate, .first_year | sites asked at a visit, and those, or their patients, with the kind |
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.shared.behind import Row, behind_share
from liftseries.models.shared.due import HAIR, seen_at
from liftseries.models.shared.population import Population
from liftseries.models.survival.completeness import groups_at
from liftseries.models.survival.complications import FIRST_YEAR, PATIENTS, YEAR_MONTHS, asked_at_visits, with_kind
from liftseries.models.survival.time_observed import EARLY_MONTHS, SHARE_STILL_FOLLOWED


def completeness(p: Population, row: Row) -> Behind:
    """Implants due at a month, and those of which it is known how they fared."""
    groups = _groups(p, row.month)
    due, seen = groups["n_due"], groups["n_seen"]
    away = (Counted(due), Counted(seen))
    return behind_estimate(due, seen, gives_away=away, rests_on=(seen,))


def by_month(p: Population, row) -> Behind:
    """The same and the rest, as the table has them."""
    groups = {name: Counted(group) for name, group in _groups(p, float(row.months)).items()}
    return Behind({"n_placed": Counted(p.placed), **groups}, seen_in=("followup",))


def _groups(p: Population, month: float) -> dict[str, np.ndarray]:
    """The counts of the table of completeness -> which sites."""
    seen = p.once(("seen", month), lambda: seen_at(month, p.cases, p.visits))
    found = groups_at(month, p.months, p.failed, p.died, p.reachable, seen)
    return {name: group & p.placed for name, group in found.items()}


def median(p: Population, row: Row) -> Behind:
    """Implants whose follow-up ended in function; a quartile rests on those that ended before it, and after."""
    ended = p.followed & ~p.failed & ~p.died
    month = np.quantile(p.months[ended], 1 - SHARE_STILL_FOLLOWED[row.term]) if ended.any() else np.nan
    return behind_estimate(p.followed, ended, parts=(ended & (p.months <= month), p.followed & (p.months >= month)))


def rate(p: Population, row: Row) -> Behind:
    """Implants followed, and those failed."""
    failed = p.followed & p.failed
    return behind_estimate(p.followed, failed, gives_away=(Counted(failed),))


def years(p: Population, row: Row) -> Behind:
    """The same; a sum over all implants gives no count away."""
    return behind_estimate(p.followed, p.followed & p.failed)


def failures(p: Population, row: Row) -> Behind:
    """Failures of a time, or the patients who bear them."""
    early = p.months <= EARLY_MONTHS + HAIR
    failed = p.followed & p.failed & {"early": early, "late": ~early}.get(row.term, True)
    unit = "patients" if row.term == "patients" else "sites"
    return behind_estimate(p.followed, failed, event_unit=unit, gives_away=(Counted(failed, unit),))


def complications(p: Population, row: Row) -> Behind:
    """Sites of which a visit says whether there was a complication, and those, or their patients, with the kind."""
    asked, anywhere = _asked(p, YEAR_MONTHS if row.analysis == FIRST_YEAR else np.inf)
    here = p.subset(row.subset)
    told = here & anywhere
    ever = here & p.where_sites(with_kind(asked, row.term)["site_id"])
    unit = "patients" if row.method == PATIENTS else "sites"
    if unit == "sites":
        return behind_share(p, told, ever)
    away = (Counted(told, unit), Counted(ever, unit))
    return behind_estimate(told, ever, event_unit=unit, gives_away=away, share=True)


def _asked(p: Population, most_months: float) -> tuple[pd.DataFrame, np.ndarray]:
    """The visits by a month that say whether there was a complication, and their sites."""

    def work_out() -> tuple[pd.DataFrame, np.ndarray]:
        asked = p.once(("complications",), lambda: asked_at_visits(p.visits, p.cases))
        asked = asked[asked["months"] <= most_months + HAIR]
        return asked, p.where_sites(asked["site_id"])

    return p.once(("complications", most_months), work_out)
