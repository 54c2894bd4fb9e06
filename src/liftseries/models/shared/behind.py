"""Who stands behind a row: what the analyses of every outcome have in common.

| an analysis | its numbers are worked out from |
|---|---|
| models of one term with levels | each level's sites, with an event and without: as many numbers as cells |
| other models of terms: coefficients | no count exactly; they rest on each level's sites, with an event and without |
| the same: intercepts, risks and curves, validation | nearly the number of events |

Each outcome's own are in its `behind.py`. How many are at risk moves a survival estimate too little to be read off a
rounded one; it must be at least as many patients as the smallest cell.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from liftseries.base.remarks import remark
from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.shared.follow_up import NO_IMPLANT, NO_VISIT, NOT_EXAMINED
from liftseries.models.shared.levels import as_levels, is_missing, is_number
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
    recorded: bool = False,
    rests_on: tuple[np.ndarray, ...] = (),
) -> Behind:
    """Who stands behind a row of a model.

    Parameters
    ----------
    p
    used : shape (n_sites,), the sites that the model stands on
    events : those of them with an event; None where nothing is an event
    terms : of the model
    term : of the row; one that is neither of the terms nor a level says nearly how many events there were
    recorded : whether `used` says only of whom something was recorded
    rests_on : further groups that the row rests on
    """
    terms = list(terms)
    of_a_term = term in terms or "[" in term
    nearly = () if events is None or of_a_term else (Counted(events),)
    return behind_estimate(
        used,
        events,
        gives_away=cells(p, used, events, terms) + nearly,
        rests_on=groups(p, used, events, terms, term) + rests_on,
        recorded=recorded,
    )


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
        named = [one for one in levels.categories if f"{column}[{one}]" != term]
        reference = known & ~np.isin(np.asarray(levels.astype(object)), named) & ~mine
        others = known & ~mine
        found += [part & group for part in parts for group in (mine, others, reference) if group.any()]
    return tuple(found)


def cells(p: Population, used: np.ndarray, events: np.ndarray | None, terms: Iterable[str]) -> tuple[Counted, ...]:
    """What a saturated model gives away: of its only term every level's sites, those with an event, those without.

    A model with as many coefficients as cells returns each cell's share as it was. None of its rows stays where
    one of these counts goes, since the rows of the other levels and the reference's make up the rest.
    """
    term, *others = [*terms] or [""]
    if others or term not in p.cases or is_number(p.cases[term]):
        return ()
    levels = as_levels(p.cases[term])
    parts = [group for level in levels.categories if (group := used & np.asarray(levels == level)).any()]
    if events is not None:
        parts += [group & part for group in parts for part in (events, ~events)]
    return tuple(Counted(part) for part in parts)


def imputed_values(p: Population, row, among: np.ndarray) -> Behind | None:
    """A row of the table that says what was imputed: `variable, level_of, n_missing` of the sites among whom it was."""
    if row.variable not in p.cases:
        return None
    gaps = among & is_missing(p.cases[row.variable])
    unit = "patients" if row.level_of == "patient" else "sites"
    return Behind({"n_missing": Counted(gaps, unit, recorded=True)}, seen_in=(f"missing {row.variable}",))


# ── sites left out: reason -> which ─────────────────────────────────────────────────────────────────────────


def level_unknown(p: Population, subset: str, among: np.ndarray) -> dict[str, Counted]:
    """Sites of no level of a column, where that is the subset."""
    if subset not in p.cases:
        return {}
    unknown = among & (as_levels(p.cases[subset]).codes < 0)
    return {remark("label_unknown", column=subset): Counted(unknown, recorded=True)}


def by_reason(reasons: np.ndarray) -> dict[str, Counted]:
    """Sites with a value missing; `reasons` has shape (n_sites,), "" where a site is not left out."""
    named = dict.fromkeys(reasons[reasons != ""])
    return {reason: Counted(reasons == reason, recorded=True) for reason in named}


def not_followed(p: Population, subset: str) -> dict[str, Counted]:
    """Sites that stay out of every analysis of implants."""
    return {
        NO_IMPLANT: Counted(~p.placed),
        NO_VISIT: Counted(p.placed & ~p.visited),
        NOT_EXAMINED: Counted(p.placed & p.visited & ~p.followed),
    }
