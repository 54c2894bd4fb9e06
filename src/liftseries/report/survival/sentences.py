"""How the implants fared, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import clustered
from liftseries.report.kit.numbers import count, counted, interval, p_value, percent
from liftseries.report.kit.sentences import first, last, source

MODELS = ("survival.cox", "survival.firth_cox")  # the one that is read, and its penalised form where events are few


def survival_sentence(material: Material) -> Paragraph | None:
    """How many implants were in function at the last month of the plan."""
    rows = material.rows("survival.km", "all")
    row = last(rows[rows["estimate"].notna()])
    if row is None:
        return None
    at_risk = material.table("survival_at_risk")
    at_risk = at_risk[at_risk["subset"].eq("all") & at_risk["months"].eq(float(row["term"]))]
    still = f", with {count(at_risk['n_at_risk'].iloc[0])} still at risk" if len(at_risk) else ""
    text = (
        f"At {row['term']} months {interval(row['estimate'], row['conf_low'], row['conf_high'], percent)} "
        f"of the implants were in function{still}; {count(row['n_events'])} of "
        f"{counted(row['n_sites'], 'implant')} followed failed at any time."
    )
    return Paragraph(text, source(row))


def hazards_sentence(material: Material) -> Iterable[Block]:
    """Whether hazard ratios stay the same over time."""
    rows = material.rows("survival.ph")
    rows = rows[rows["term"].eq("GLOBAL") & rows["estimate"].notna()]
    by_patient = rows[clustered(rows)]
    row = first(by_patient if len(by_patient) else rows)
    if row is not None:
        seen = "give reason to doubt" if row["p_value"] < 0.05 else "do not contradict"
        yield Paragraph(
            f"The data {seen} that hazard ratios stay the same over time (p {p_value(row['p_value'])}); with few "
            "failures such a test sees little.",
            source(row),
        )
