"""What could change the answers, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.sensitivity.lost import BEST, WORST
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import percent
from liftseries.report.kit.sentences import source


def evalue_sentence(material: Material) -> Iterable[Block]:
    """What an E-value says."""
    if len(material.quoted("sensitivity.evalue")):
        yield Paragraph(
            "A cause that was not recorded could explain a ratio away only if it went with both the exposure and the "
            "outcome at least as strongly as the E-value says, beyond what the model holds constant. A small E-value "
            "means that little is needed; a large one does not prove that there is no such cause."
        )


def lost_sentence(material: Material) -> Iterable[Block]:
    """How far the implants lost to follow-up could move survival."""
    rows = material.rows("sensitivity.lost_implants")
    rows = rows[rows["estimate"].notna()]
    if rows.empty:
        return
    last_month = rows["term"].iloc[-1]
    cases = {row["method"]: row for _, row in rows[rows["term"].eq(last_month)].iterrows()}
    if {BEST, WORST} <= set(cases):
        best, worst = cases[BEST], cases[WORST]
        yield Paragraph(
            f"Had all implants lost to follow-up at month {last_month} or at an earlier month of the plan lasted, "
            f"{percent(best['estimate'])} would stand at {last_month} months; had all failed right after their last "
            f"visit, {percent(worst['estimate'])}. Implants of which no such month was due yet are not among them.",
            source(worst),
        )
