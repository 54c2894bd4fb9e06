"""Who stands behind what was recorded of tears.

| analysis | its numbers are worked out from |
|---|---|
| perforation.stage, .management | all tears, and those of the level |
| perforation.test | sites looked at by the test whose perforation is known, and those torn |
| perforation.size | tears measured; a median, quartiles: those on either side; the largest is one tear |
| perforation.sequel | sites or implants of the subset, and those to which it happened |
| perforation.learning | sites of the band whose perforation is known, and those torn |

The last is declared for whoever lets it leave; as it is it stays in the house, by its subsets, which it does not name
in `leave_by`: it may tell of a single operator.
"""

from __future__ import annotations

import numpy as np

from liftseries.disclosure.declared import Behind, behind_estimate
from liftseries.models.perforation.recorded import CASE_BANDS, CASE_NUMBER, FAILURE, MONTHS, NO_IMPLANT, ever_had
from liftseries.models.shared.behind import Row, behind_share
from liftseries.models.shared.described import labels, numbers
from liftseries.models.shared.described_behind import behind_statistic
from liftseries.models.shared.population import Population
from liftseries.study.schema import UNKNOWN

SIZE_COLUMN = "perforation_mm"


def stage(p: Population, row: Row) -> Behind:
    """Tears noticed at a stage."""
    return _of_tears(p, row, "perforation_stage")


def management(p: Population, row: Row) -> Behind:
    """Tears managed in a way."""
    return _of_tears(p, row, "perforation_management")


def _of_tears(p: Population, row: Row, column: str) -> Behind:
    level = labels(p.cases, column)
    if not (level[p.perforated] != "").any():
        return behind_share(p, ~p.everyone, ~p.everyone)
    return behind_share(p, p.perforated, p.perforated & (np.where(level == "", UNKNOWN, level) == row.term))


def by_test(p: Population, row: Row) -> Behind:
    """Sites looked at by a test."""
    used = p.perforation_known & (labels(p.cases, "perforation_test") == row.term)
    return behind_share(p, used, used & p.perforated)


def size(p: Population, row: Row) -> Behind:
    """Tears measured."""
    return behind_statistic(np.where(p.perforated, numbers(p.cases, SIZE_COLUMN), np.nan), row.term)


def sequel(p: Population, row: Row) -> Behind:
    """Torn sites, or the others, and what happened to them."""
    sites = p.subset(row.subset)
    if row.term == NO_IMPLANT:
        return behind_share(p, sites, sites & ~p.placed)
    if row.term in (FAILURE, MONTHS):
        used = sites & p.followed
        return behind_share(p, used, used & p.failed) if row.term == FAILURE else behind_estimate(used)
    asked = ever_had(p.cases, p.visits)
    used = sites & p.where_sites(asked["site_id"])
    return behind_share(p, used, used & p.where_sites(asked.loc[asked[row.term].to_numpy(bool), "site_id"]))


def learning(p: Population, row: Row) -> Behind:
    """Sites in a band of case numbers."""
    first, last = CASE_BANDS[row.subset.partition("=")[2]]
    case = numbers(p.cases, CASE_NUMBER)
    used = p.perforation_known & (case >= first) & (case <= last)
    return behind_share(p, used, used & p.perforated)
