"""Adjusted associations: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.associations.tables import OUTCOMES, associations
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.entangled import entangled
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import size_of, small, source
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

NOT_STRAIGHT = 0.05  # of the p of the spline's non-linear term
APPROACH, GUIDED, PROTOCOL, GRAFT = "approach", "guided", "protocol", "graft"


def blocks(writer: Writer) -> Iterable[Block]:
    """What the associations rest on, and one table of them."""
    material = writer.material
    table = writer.table("associations")
    if not table:
        return
    columns = {term for outcome in OUTCOMES for term in columns_of(material, outcome)}
    alone = all(len(columns_of(material, outcome)) < 2 for outcome in OUTCOMES)
    told = [say("associations.lead_alone" if alone else "associations.lead")]
    differences = risk_differences(material)
    told += [say("associations.difference", told=[text for text, _ in differences])] if differences else []
    told += bent(material)
    told += entanglement(material) if APPROACH in columns and PROTOCOL not in columns else []
    told += [say("associations.graft")] if GRAFT in columns_of(material, "gain") else []
    yield Paragraph(" ".join(told), "; ".join(key for _, key in differences))
    yield from table


def columns_of(material: Material, outcome: str) -> set[str]:
    """The columns whose terms are quoted of an outcome."""
    return {str(term).partition("[")[0] for term in associations(material, outcome)["term"]}


def bent(material: Material) -> list[str]:
    """Terms of the perforation model whose association is not a straight line: one ratio does not describe them."""
    terms = set(associations(material, "perforation")["term"])
    rows = material.quoted("perforation.nonlinearity")
    rows = rows[rows["p_value"].lt(NOT_STRAIGHT) & rows["term"].isin(terms)]
    return [
        say("associations.bent", term=small(material.words.column(row["term"])), p=row["p_value"])
        for _, row in rows.iterrows()
    ]


def risk_differences(material: Material) -> list[tuple[str, str]]:
    """How much lower or higher the modelled risk is, of each contrast of the plan, with its row of results.csv."""
    told = []
    for _, row in material.quoted("perforation.risk_difference").iterrows():
        name, _, between = row["term"].partition(": ")
        start, _, end = between.partition(" to ")
        numbers, more = size_of(row)
        unit = material.words.unit(name)
        start, end = (text.replace("_", " ") + (f" {unit}" if unit else "") for text in (start, end))
        column = small(material.words.column(name))
        which = "higher" if more else "lower"
        told.append((say(f"associations.{which}", numbers=numbers, column=column, to=end, start=start), source(row)))
    return told


def entanglement(material: Material) -> list[str]:
    """That approach goes with protocol, where it does."""
    found = entangled(material)
    return [say("associations.entangled", **vars(found))] if found else []
