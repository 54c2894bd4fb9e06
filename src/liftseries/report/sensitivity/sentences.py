"""What could change the answers, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.sensitivity.lost import BEST, WORST
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import percent
from liftseries.report.kit.sentences import source


def evalues(material: Material) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The E-values that are printed, and those of too few events, which results.csv alone keeps."""
    rows = material.rows("sensitivity.evalue")
    few = rows["note"].map(lambda note: "below_gate_evalue" in names_in(note)).astype(bool)
    return rows[~few], rows[few]


def evalue_sentence(material: Material) -> Iterable[Block]:
    """What an E-value says."""
    rows, _ = evalues(material)
    if rows["estimate"].notna().any():
        yield Paragraph(
            "A cause that was not recorded could explain a ratio away only if it went with both the exposure and the "
            "outcome at least as strongly as the E-value says, beyond what the model holds constant. A small E-value "
            "means that little is needed."
        )


def lost_sentence(material: Material) -> Iterable[Block]:
    """How far the implants lost from sight could move survival."""
    rows = material.rows("sensitivity.lost_implants")
    rows = rows[rows["estimate"].notna()]
    if rows.empty:
        return
    last_month = rows["term"].iloc[-1]
    cases = {row["method"]: row for _, row in rows[rows["term"].eq(last_month)].iterrows()}
    if {BEST, WORST} <= set(cases):
        best, worst = cases[BEST], cases[WORST]
        yield Paragraph(
            f"Implants are lost from sight. Had all of them lasted, {percent(best['estimate'])} would stand at "
            f"{last_month} months; had all failed right after their last visit, {percent(worst['estimate'])}.",
            source(worst),
        )
