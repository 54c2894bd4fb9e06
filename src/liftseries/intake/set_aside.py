"""Rows that go, and what goes with them.

A patient takes the sites along, a site its log and its visits, an instrument or a stop the passes made with it.
A pass takes its site's whole log along, since a log with a hole gives wrong depths, and a visit the site's
whole follow-up, since a failure might vanish. The site itself stays.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.intake.draft.draft import Draft
from liftseries.intake.told.findings import Finding
from liftseries.study.schema import EVERY_TABLE

DEPENDS = "depends_on_set_aside"
LEFT_OUT = "left_out"
# Parents before children; with each table, whether its rows stand or fall with the others of their site.
ORDER = {
    "patients": False,
    "instruments": False,
    "stops": False,
    "sites": False,
    "steps": True,
    "visits": True,
    "actions": False,
    "responses": False,
    "changes": False,
}


def set_aside(drafts: Mapping[str, Draft]) -> tuple[dict[str, np.ndarray], list[Finding]]:
    """Which rows go, and why.

    Parameters
    ----------
    drafts
        The tables, all checks done.

    Returns
    -------
    gone : table -> shape (n_rows,), true where the row goes
    lines
        For each such row its findings, or the one line that says on what it depends.
    """
    gone, lines = {}, []
    for name, whole_site in ORDER.items():
        if name not in drafts:
            continue
        draft = drafts[name]
        own = [finding for finding in draft.findings if not finding.stops_the_run]
        own += _partners(draft, own)
        lines += own
        gone[name] = np.zeros(len(draft), dtype=bool)
        gone[name][[finding.index for finding in own]] = True
        for column, parent in draft.table.references.items():
            if parent in drafts:
                lines += _go_with_parent(draft, column, drafts[parent], gone)
        if whole_site:
            lines += _go_with_site(draft, gone[name])
    return gone, lines


def left_out(drafts: Mapping[str, Draft]) -> list[Finding]:
    """A line for each row that the user left out; the checks have not seen them, so nothing goes with them."""
    return [
        Finding(
            table=draft.table.name,
            file=draft.sources[file_no].told,
            row=row,
            column="",
            value_class="text",
            rule=LEFT_OUT,
            message=f"left out by {by}.",
            place=draft.sheets[file_no].row_place(row),
            order=(EVERY_TABLE.index(draft.table.name), file_no, row, -1),
        )
        for draft in drafts.values()
        for file_no, row, by in draft.left_out
    ]


def _partners(draft: Draft, findings: list[Finding]) -> list[Finding]:
    """Rows as much at fault as the one told, such as the first of two with the same key; each once."""
    own = {(finding.index, finding.rule) for finding in findings}
    more = {}
    for finding in findings:
        partner = (finding.partner, finding.rule)
        if finding.partner is not None and partner not in own and partner not in more:
            message = f"does not go together with {draft.row_seen_from(finding.index, finding.partner)}."
            more[partner] = draft.finding(finding.rule, finding.partner, finding.column, message)
    return list(more.values())


def _go_with_parent(draft: Draft, column: str, parent: Draft, gone: dict[str, np.ndarray]) -> list[Finding]:
    key = parent.frame[parent.table.key[0]]
    parent_gone = gone[parent.table.name]
    reference = draft.frame[column]
    has_lost = reference.notna() & ~reference.isin(key[~parent_gone])
    lost = np.flatnonzero(~gone[draft.table.name] & has_lost)
    if not len(lost):
        return []
    gone[draft.table.name][lost] = True
    first_gone = {value: index for index, value in key[parent_gone].dropna()[::-1].items()}
    lines = []
    for index in lost:
        # A key that nobody can read may be the one meant; then no row can be named.
        row = first_gone.get(reference[index])
        where = f"a row of {parent.table.name} that is" if row is None else f"{parent.row_place(row)}, which is"
        lines.append(draft.finding(DEPENDS, index, column, f"depends on {where} set aside."))
    return lines


def _go_with_site(draft: Draft, gone: np.ndarray) -> list[Finding]:
    if not gone.any():
        return []
    site, knows_site = draft.frame["site_id"].to_numpy(), draft.known("site_id")
    reason: dict[object, int] = {}  # site -> the row that takes the others along
    for index in np.flatnonzero(gone):
        reason.setdefault(site[index], index)
        if not knows_site[index]:
            for beside in _beside(draft, index):
                reason.setdefault(site[beside], index)
    reason.pop(None, None)
    follow = np.flatnonzero(~gone & draft.frame["site_id"].isin(list(reason)))
    gone[follow] = True
    places = [draft.row_seen_from(reason[site[index]], index) for index in follow]
    return [
        draft.finding(DEPENDS, index, "site_id", f"depends on {place}, which is set aside.")
        for index, place in zip(follow, places, strict=True)
    ]


def _beside(draft: Draft, index: int) -> list[int]:
    """Rows above and below whose site the row may belong to, when its own can't be read.

    In a log (or follow-up) the row above comes earlier and the row below later.
    """
    order = draft.frame[draft.table.key[1]]
    earlier = [at for at in (index - 1,) if at >= 0 and _may_be_below(order[at], order[index])]
    later = [at for at in (index + 1,) if at < len(draft) and _may_be_below(order[index], order[at])]
    return [at for at in earlier + later if draft.file_no[at] == draft.file_no[index]]


def _may_be_below(first: float, second: float) -> bool:
    return bool(pd.isna(first) or pd.isna(second) or first < second)
