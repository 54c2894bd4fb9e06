"""Rows that go, and what goes with them.

A patient takes the sites along, a site its log and its visits, an instrument or a stop the passes made with it.
A pass takes its site's whole log along, since a log with a hole gives wrong depths; a visit the site's whole
follow-up, since a failure might vanish. The site itself stays.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.intake.draft import Draft
from liftseries.intake.findings import Finding

DEPENDS = "depends_on_set_aside"
# Parents before children; with each table, whether its rows stand or fall with the others of their site.
ORDER = {
    "patients": False,
    "instruments": False,
    "stops": False,
    "sites": False,
    "steps": True,
    "visits": True,
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
    staying = ~gone[draft.table.name]
    names_one = draft.frame[column].notna().to_numpy()
    key = parent.frame[parent.table.key[0]]
    lost = np.flatnonzero(
        staying & names_one & ~draft.frame[column].isin(key[~gone[parent.table.name]]).to_numpy()
    )
    first_gone = (
        key[gone[parent.table.name]].reset_index().drop_duplicates(key.name).set_index(key.name)["index"]
    )
    gone[draft.table.name][lost] = True
    lines = []
    for index in lost:
        # A key that nobody can read may be the one meant; then no row can be named.
        row = first_gone.get(draft.frame.at[index, column])
        where = (
            f"a row of {parent.table.name} that is"
            if row is None
            else f"{parent.row_place(int(row))}, which is"
        )
        lines.append(draft.finding(DEPENDS, index, column, f"depends on {where} set aside."))
    return lines


def _go_with_site(draft: Draft, gone: np.ndarray) -> list[Finding]:
    reason: dict[object, int] = {}  # site -> the row that takes the others along
    known = draft.frame["site_id"].notna().to_numpy()
    sites = draft.frame["site_id"].to_numpy()
    unknown = ~draft.known("site_id")
    for index in np.flatnonzero(gone):
        neighbours = [
            at
            for at in (index - 1, index + 1)
            if 0 <= at < len(draft) and draft.file_no[at] == draft.file_no[index]
        ]
        # Which log has the hole, if the row's own site can't be read? Most likely one beside it.
        for at in neighbours if unknown[index] else [index]:
            if known[at]:
                reason.setdefault(sites[at], index)
    follow = np.flatnonzero(~gone & pd.Series(sites).isin(reason).to_numpy())
    gone[follow] = True
    return [
        draft.finding(
            DEPENDS,
            at,
            "site_id",
            f"depends on {draft.row_seen_from(reason[sites[at]], at)}, which is set aside.",
        )
        for at in follow
    ]
