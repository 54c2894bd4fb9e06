"""Who stands behind what is told of groups.

| a row | its numbers are worked out from |
|---|---|
| crude, a group's share | its sites, those with the event, its patients: exact functions of them |
| crude, a contrast of shares or survivals | the same of both groups |
| weighted, and of models | no count exactly; they rest on each group's sites, with the event and without |
| balance, sample, measurements | no count exactly; they rest on each group's sites |

Groups leave by the columns by which anything leaves (`LEAVE_BY`); by any other column, an operator's say, nobody is
known to stand behind a row, and it keeps no number. Nor does one of the sites drilled as planned, or of one group's
subset: no declaration names these as columns to leave by. No table of this room leaves.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from liftseries.disclosure.declared import LEAVE_BY, Behind, Counted, behind_estimate
from liftseries.models.comparison.compared import ALL, Asked, Compared, asked_of, populations
from liftseries.models.comparison.contrasts import CRUDE
from liftseries.models.comparison.drilling import ENDED_UNKNOWN, NOT_JUDGED, adherence
from liftseries.models.depth.agreement import depth_missing
from liftseries.models.gain.mixed import NO_BONE_HEIGHT
from liftseries.models.shared.behind import Row
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN
from liftseries.models.shared.population import Population

TERM = re.compile(r"^(\w+)\[(.*)\](?: at ([\d.]+))?$")
OF_ONE_GROUP = ("risk", "survival", "rmst")
Outcome = tuple[np.ndarray, np.ndarray | None]  # sites that are compared, and those of them with the event


def _asked(p: Population) -> Asked | None:
    """The plan's comparison; None where its groups may not leave."""
    plan = p.plan.get("comparison") or {}
    if plan.get("groups") not in LEAVE_BY or plan["groups"] not in p.cases:
        return None
    return asked_of(p.cases, plan["groups"], plan["reference"], plan["adjust_for"], plan["weights"])


def _used(p: Population, asked: Asked, name: str, missing: Callable[[], dict[str, np.ndarray]]) -> tuple:
    """Which sites are compared, shape (n_sites,), and why another is not."""

    def work_out():
        found: Compared = next(populations(p.cases, missing(), asked, (ALL,)))
        return found.reasons == "", found.reasons

    return p.once(("comparison", name), work_out)


def _behind(p: Population, row: Row, outcome: Callable[[Asked], Outcome]) -> Behind | None:
    asked, term = _asked(p), TERM.match(row.term)
    if asked is None or row.subset != ALL or not term:
        return None
    used, event = outcome(asked)
    levels = [term[2]] if term[1] in OF_ONE_GROUP else [term[2], asked.reference]
    groups = [used & p.subset(f"{asked.column}={level}") for level in levels]
    sites = np.any(groups, axis=0)
    if event is None:
        return behind_estimate(sites, rests_on=tuple(groups))
    parts = tuple(part for group in groups for part in (group, group & event, group & ~event))
    counted = tuple(Counted(part) for part in parts if part.any())
    of_patients = tuple(Counted(group, "patients") for group in groups)
    away = (*counted, *of_patients) if row.method == CRUDE else ()
    return behind_estimate(sites, sites & event, gives_away=away, rests_on=tuple(groups), parts=parts)


def perforation(p: Population, row: Row) -> Behind | None:
    """Sites whose perforation, group and terms are known."""
    missing = {PERFORATION_UNKNOWN: ~p.perforation_known}
    return _behind(p, row, lambda asked: (_used(p, asked, "perforation", lambda: missing)[0], p.perforated))


def survival(p: Population, row: Row) -> Behind | None:
    """Implants followed whose group and terms are known; events are failures whenever they were found."""

    def outcome(asked: Asked) -> Outcome:
        followed = _used(p, asked, "all", lambda: {})[0] & p.followed
        month = TERM.match(row.term)[3]
        still = followed & (p.months >= float(month)) if month else followed
        levels = [TERM.match(row.term)[2], asked.reference]
        enough = all((still & p.subset(f"{asked.column}={level}")).any() for level in levels)
        return (followed if enough else followed & False), p.failed

    return _behind(p, row, outcome)


def gain(p: Population, row: Row) -> Behind | None:
    """Sites with a bone height at a visit."""
    missing = {NO_BONE_HEIGHT: ~p.where_sites(p.gains["site_id"])}
    return _behind(p, row, lambda asked: (_used(p, asked, "gain", lambda: missing)[0], None))


def deeper(p: Population, row: Row) -> Behind | None:
    """Sites of which it is known how the drilling ended."""
    ended = p.cases["ended"].astype(object)
    missing = {ENDED_UNKNOWN: ended.isna().to_numpy(bool)}
    return _behind(
        p, row, lambda asked: (_used(p, asked, "ended", lambda: missing)[0], ended.eq("deeper").to_numpy(bool))
    )


def adherence_of_group(p: Population, row: Row) -> Behind | None:
    """Sites whose depths can be judged."""
    judged, kept = adherence(p.cases)
    return _behind(p, row, lambda asked: (_used(p, asked, "adherence", lambda: {NOT_JUDGED: ~judged})[0], kept))


def depth_error(p: Population, row: Row) -> Behind | None:
    """Sites with an achieved and a planned last depth."""
    return _behind(p, row, lambda asked: (_used(p, asked, "depth", lambda: depth_missing(p.cases))[0], None))


def of_group(p: Population, row: Row) -> None:
    """Balance and sample are told by group, a subset that nothing leaves by."""
