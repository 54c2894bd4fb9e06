"""Findings of units that lie apart from the whole series by an indicator without a standard: counted, not estimated."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from liftseries.report.audit.finding import Finding, quality
from liftseries.report.audit.indicators import apart, n_compared, strips_of, title
from liftseries.report.audit.units import counted_out, hidden, per_100, smallest_cell
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, listed, missing
from liftseries.report.kit.sentences import small
from liftseries.report.languages.say import say

MOST_APART = 2
ONE_SIDE = 0.025  # of an interval of 95 of 100


def units_apart(material: Material) -> Iterator[Finding]:
    """Indicators by which some units lie apart from the whole series, of the same units in one finding.

    They are counted, as no standard is set for them.
    """
    strips = strips_of(material)
    n = n_compared(strips)
    groups: dict[tuple[str, ...], list[tuple[str, str, pd.Series]]] = {}
    for term, rows, whole, told in apart_in_order(material):
        groups.setdefault(tuple(str(row["unit"]) for row in rows), []).append((term, told, whole))
    for names, of_units in list(groups.items())[:MOST_APART]:
        whole_first = of_units[0][2]
        each = [told for _, told, _ in of_units]
        alone = "audit_page.apart_text_one" if len(names) == 1 else "audit_page.apart_text"
        told = say(alone, units=listed(list(names)), each=each)
        known = say(
            "audit_page.known_share", indicator=title(strips, of_units[0][0]), series=per_100(whole_first["value"])
        )
        terms = [_inner(k, title(strips, one[0])) for k, one in enumerate(of_units)]
        lead = say("audit_page.lead_apart", indicators=terms, units=listed(list(names)))
        sure = say("audit_page.counted", n=n, chance=decimal(ONE_SIDE * n, 0))
        yield Finding(lead, told, sure, "", quality(material, listed(list(names)), known))


def _inner(place: int, name: str) -> str:
    return small(name) if place else name


def apart_in_order(material: Material) -> Iterator[tuple[str, list[pd.Series], pd.Series, str]]:
    """Those of `apart` that may be told on the first page, the widest gap first, with their counts in words."""
    cell = smallest_cell(material)
    for term, rows, whole in sorted(apart(strips_of(material)), key=_gap, reverse=True):
        events, total = (int(sum(row[of] for row in rows)) for of in ("n_events", "counted"))
        if hidden(events, cell) or hidden(total - events, cell) or not missing(whole["standard"]):
            continue
        told = say(
            "audit_page.apart_each",
            indicator=small(title(strips_of(material), term)),
            counts=counted_out(events, total, cell),
            of=say(f"audit.of_{whole['counts']}"),
            series=per_100(whole["value"]),
        )
        yield term, rows, whole, told


def _gap(found: tuple[str, list[pd.Series], pd.Series]) -> float:
    """How far these units lie from the series, by their counts together."""
    _, rows, whole = found
    events, total = (sum(float(row[of]) for row in rows) for of in ("n_events", "counted"))
    return abs(events / total - float(whole["value"])) * math.sqrt(total) if total else 0.0
