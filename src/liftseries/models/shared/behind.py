"""Who stands behind a row: what the analyses of every outcome have in common.

| an analysis | its numbers are worked out from |
|---|---|
| models of one term with levels | each level's sites, with an event and without: as many numbers as cells |
| other models of terms | no count exactly; they rest on each level's sites, with an event and without |

Each outcome's own are in its `behind.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from liftseries.disclosure.declared import FREE_PATIENTS, MANY_PATIENTS, Behind, Counted, behind_estimate
from liftseries.models.shared.design import reference_among
from liftseries.models.shared.levels import as_levels, is_number
from liftseries.models.shared.population import Population


@dataclass(frozen=True)
class Row:
    """What tells whom a row of results.csv counts."""

    analysis: str
    subset: str
    term: str
    method: str

    @property
    def month(self) -> float:
        """The term of a row by month."""
        return float(self.term)


def behind_model(
    p: Population,
    used: np.ndarray,
    events: np.ndarray | None,
    terms: Iterable[str],
    term: str,
    *,
    rests_on: tuple[np.ndarray, ...] = (),
) -> Behind:
    """Who stands behind a row of a model.

    Parameters
    ----------
    p
    used : shape (n_sites,), the sites that the model stands on
    events : those of them with an event; None where nothing is an event
    terms : of the model
    term : of the row; an intercept rests on nobody, so that it stays in the house
    rests_on : further groups that the row rests on
    """
    terms = list(terms)
    nobody = (used & False,) if term.startswith("(") else ()
    return behind_estimate(
        used,
        events,
        gives_away=cells(p, used, events, terms),
        rests_on=(*rests_on, *nobody),
        parts=groups(p, used, events, terms, term),
        needs=FREE_PATIENTS + 1 + sum(_n_columns(p, term) for term in terms),
    )


def behind_share(p: Population, sites: np.ndarray, events: np.ndarray) -> Behind:
    """Who stands behind a share of sites, which gives both counts away; its interval tells of few patients how many.

    The patients where t is used or a bound rests on their number; of `MANY_PATIENTS` the printed digits are the same
    with one more or less. Sets of shape (n_sites,).
    """
    few = p.n_patients(sites) < MANY_PATIENTS
    bound = min(p.n_patients(events), p.n_patients(sites & ~events)) <= 1
    of_patients = (Counted(sites, "patients"),) if few or bound else ()
    if not events.any():  # none of however many
        return behind_estimate(sites, events, gives_away=(Counted(events),), by_interval=of_patients)
    return behind_estimate(
        sites, events, gives_away=(Counted(sites), Counted(events)), by_interval=of_patients, share=True
    )


def _n_columns(p: Population, term: str) -> int:
    """How many coefficients a term has."""
    if term not in p.cases or is_number(p.cases[term]):
        return 1
    return max(len(as_levels(p.cases[term]).categories) - 1, 1)


def groups(
    p: Population, used: np.ndarray, events: np.ndarray | None, terms: Iterable[str], term: str
) -> tuple[np.ndarray, ...]:
    """What a coefficient rests on: the events and the rest; of a level, its own and the reference's.

    A small level beside the one asked for is in the model too; but its share of another coefficient cannot be read
    off it, so that only a level's own row rests on it. The reference is part of every row of its column.
    """
    parts = [used] if events is None else [used & events, used & ~events]
    found = list(parts)
    column, _, level = term.partition("[")
    if level and column in terms and column in p.cases:
        levels = as_levels(p.cases[column])
        mine = np.asarray(levels == level.removesuffix("]"))
        known = levels.codes >= 0
        others, seen = known & ~mine, levels[known & used]
        reference = np.asarray(levels == reference_among(column, seen)) if len(seen) else mine & False
        found += [part & group for part in parts for group in (mine, others, reference) if group.any()]
    return tuple(found)


def cells(p: Population, used: np.ndarray, events: np.ndarray | None, terms: Iterable[str]) -> tuple[Counted, ...]:
    """What a saturated model gives away: of its only term every level's sites, and those with an event.

    A model with as many coefficients as cells returns each cell's share as it was. None of its rows stays where
    one of these counts goes, since the rows of the other levels and the reference's make up the rest.
    """
    term, *others = [*terms] or [""]
    if others or term not in p.cases or is_number(p.cases[term]):
        return ()
    levels = as_levels(p.cases[term])
    parts = [group for level in levels.categories if (group := used & np.asarray(levels == level)).any()]
    if events is not None:
        parts += [group & events for group in parts]
    return tuple(Counted(part) for part in parts)
