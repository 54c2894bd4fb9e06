"""How a unit's flag moved with the corrected cells, in words."""

from __future__ import annotations

from collections.abc import Iterator

from liftseries.report.audit.units import Unit, flag_words
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing, p_value
from liftseries.report.languages.say import say


def moved(material: Material, unit: Unit) -> Iterator[str]:
    """Cells corrected, and the count, tail probability and flag before and after; what cannot be read as filed."""
    table = material.table("audit_as_filed")
    rows = table[table["unit"].astype(str).eq(unit.name)]
    if not len(rows):
        yield say("audit_extra.filed_no_corrections")
        return
    row = rows.iloc[0]
    before, n_cells = (int(row["before_events"]), int(row["before_sites"])), int(row["n_cells"])
    yield say("audit_extra.filed_cells", n=n_cells) if n_cells else say("audit_extra.filed_no_cell")
    changes = n_cells + int(row["n_gone"]) + int(row["n_added"])
    if changes or before != (unit.n_events, unit.n_sites) or row["before_flag"] != unit.flag():
        yield say(
            "audit_extra.filed_moved",
            before=_lies(*before, row["before_p_high"], row["before_flag"]),
            after=_lies(unit.n_events, unit.n_sites, row["after_p_high"], unit.value("flag")),
        )
    if row["n_gone"]:
        yield say("audit_extra.filed_gone", n=int(row["n_gone"]))
    if row["n_added"]:
        yield say("audit_extra.filed_added", n=int(row["n_added"]))


def _lies(events: int, sites: int, p_high: float, flag: float) -> str:
    if missing(flag):
        return say("audit_extra.filed_not_judged", events=events, sites=sites)
    return say("audit_extra.filed_lies", events=events, sites=sites, p=p_value(p_high), flag=flag_words(int(flag)))
