"""Who stands behind what was recorded of surgery.

| analysis | its numbers are worked out from |
|---|---|
| series.lift_method | sites with a lift method, and those of the level |
| series.graft | sites of the subset, and those with a graft |
| series.surgery | sites measured |
| series.one_or_several | sites known, or implants followed, of such patients, and those with the event |
"""

from __future__ import annotations

from liftseries.disclosure.declared import Behind
from liftseries.models.series.recorded import NO_GRAFT, measured, sites_of_patient
from liftseries.models.shared.behind import Row, behind_share
from liftseries.models.shared.described import labels
from liftseries.models.shared.described_behind import behind_statistic
from liftseries.models.shared.population import Population


def lift_method(p: Population, row: Row) -> Behind:
    """Sites lifted by a method."""
    level = labels(p.cases, "lift_method")
    return behind_share(p, level != "", level == row.term)


def graft(p: Population, row: Row) -> Behind:
    """Sites of a subset with a graft."""
    level = labels(p.cases, "graft")
    used = p.subset(row.subset) & (level != "")
    return behind_share(p, used, used & (level != NO_GRAFT))


def surgery(p: Population, row: Row) -> Behind:
    """Sites measured."""
    measure, _, statistic = row.term.partition(" ")
    return behind_statistic(measured(p.cases, measure), statistic)


def one_or_several(p: Population, row: Row) -> Behind:
    """Sites of patients with one site, or with several."""
    outcome, _, name = row.term.partition(" ")
    group = (sites_of_patient(p.cases) > 1) == (name == "several")
    used, events = (p.perforation_known, p.perforated) if outcome == "tears" else (p.followed, p.failed)
    return behind_share(p, used & group, used & events & group)
