"""Who stands behind what is told of units: little leaves the house, and nothing by operator.

| a row | its numbers are worked out from |
|---|---|
| audit.series | the sites of the period, those perforated, their patients: exact functions of them |
| audit.funnel, of a unit by a column by which anything leaves | the same of the unit and, as p0 is their rate, of all |
| audit.funnel, `case_mix` and subset `all` | the counts of each unit: nobody is known to stand behind them |
| audit.year, the trend | each year's sites, nearly the number of events |
| all others | nobody is known to stand behind them, so that they keep no number |

No table of this room leaves: cases to review and CUSUM charts hold single records.
"""

from __future__ import annotations

import numpy as np

from liftseries.disclosure.declared import LEAVE_BY, Behind, Counted, behind_estimate
from liftseries.models.audit.funnel import CASE_MIX
from liftseries.models.audit.units import in_period
from liftseries.models.shared.behind import Row, behind_model
from liftseries.models.shared.levels import as_levels, is_missing
from liftseries.models.shared.population import Population


def stays(p: Population, row: Row) -> None:
    """Nobody is known to stand behind it: it keeps no number."""
    return None


def series(p: Population, row: Row) -> Behind | None:
    """The sites of the period whose perforation and unit are known."""
    used = _used(p)
    if used is None or row.subset != "all":
        return None
    events = used & p.perforated
    return behind_estimate(used, events, gives_away=_away(used, events))


def funnel(p: Population, row: Row) -> Behind | None:
    """The same of a unit; its expected counts are worked out from all."""
    used, by = _used(p), p.plan["audit"]["by"]
    if used is None or by not in LEAVE_BY or row.method == CASE_MIX or not row.subset.startswith(f"{by}="):
        return None
    mine, events = used & p.subset(row.subset), used & p.perforated
    away = (*_away(mine, mine & events), *_away(used, events))
    return behind_estimate(mine, mine & events, gives_away=away)


def trend(p: Population, row: Row) -> Behind | None:
    """The sites of known perforation and year; the rows of single years stay."""
    if row.subset != "all" or "surgery_year" not in p.cases:
        return None
    used = p.perforation_known & ~is_missing(p.cases["surgery_year"])
    return behind_model(p, used, used & p.perforated, ["surgery_year"], row.term)


def _used(p: Population) -> np.ndarray | None:
    """The sites audited; None where the plan has no audit."""
    plan = p.plan.get("audit") or {}
    if plan.get("by") not in p.cases:
        return None
    has_unit = as_levels(p.cases[plan["by"]]).codes >= 0
    return p.perforation_known & has_unit & in_period(p.cases, plan.get("period") or ())


def _away(sites: np.ndarray, events: np.ndarray) -> tuple[Counted, ...]:
    return Counted(sites), Counted(events), Counted(sites, "patients")
