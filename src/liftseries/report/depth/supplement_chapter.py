"""How deep was drilled: the chapter of the supplement, and the worked cases of its methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.depth.sentences import agreement_sources, agreement_told, has_log, limits_rows
from liftseries.report.depth.tables import cases_passes
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import MINUS, interval, is_withheld, missing
from liftseries.report.kit.sentences import first_term, source
from liftseries.report.kit.words import DEFINITIONS, DEVIATIONS, JUDGED_FROM
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def blocks(writer: Writer) -> Iterable[Block]:
    """Shares and deviations; agreement of depths with the plan; gauge depth against osteotomy depth."""
    material = writer.material
    if not has_log(material):
        return
    yield from writer.table("drilled_as_planned")
    yield from writer.table("deviations")
    yield Listing(say("depth.meanings"), tuple(map(_meaning, DEVIATIONS)))
    yield from _agreement(writer)
    read = limits_rows(material, "depth.read")
    if read:
        yield Paragraph(agreement_told("depth.read", read), agreement_sources(read))
        yield from writer.figure("depth_read")
        yield from writer.table("depth_read")


def _meaning(kind: str) -> str:
    return say("depth.meaning", kind=DEVIATIONS[kind], means=DEFINITIONS[kind], judged_from=JUDGED_FROM[kind])


def _agreement(writer: Writer) -> Iterable[Block]:
    """Bias and limits, what they mostly are, and the shortfall per mm planned."""
    material = writer.material
    rows = limits_rows(material, "depth.agreement")
    if not rows:
        return
    told = (say("depth.sign"), agreement_told("depth.agreement", rows), _obedience(material))
    yield Paragraph(" ".join(filter(None, told)), agreement_sources(rows))
    yield from _per_mm(material)
    yield from writer.figure("planned_achieved")
    yield from writer.table("depth_agreement")


def _obedience(material: Material) -> str:
    """How many of those that ended short had the floor open."""
    ended = material.rows("depth.ended").set_index("term")["n_events"]
    counts = [ended.get(term) for term in ("opened_before", "short")]
    if any(missing(n) or is_withheld(n) for n in counts) or not counts[0]:
        return ""
    return say("depth.obedience", short=sum(counts), opened=counts[0])


def _per_mm(material: Material) -> Iterable[Block]:
    """How the difference changes along the planned depth, in one sentence."""
    row = first_term(material.rows("depth.proportional_bias"))
    if row is None or missing(row["conf_low"]):
        return
    name = "short" if row["conf_high"] < 0 else "deeper" if row["conf_low"] > 0 else "open"
    change = interval(row["estimate"], row["conf_low"], row["conf_high"])
    yield Paragraph(say(f"depth.per_mm_{name}", change=change), source(row))


def worked_cases(writer: Writer) -> Iterable[Block]:
    """Two cases, pass by pass; nothing without a log, or where single records stay in the house."""
    if "worked_cases" not in writer.tables:
        return
    passes = cases_passes(writer.material)
    drills = passes[~passes["role"].eq("gauge")]
    first = (drills if len(drills) else passes).groupby("case", sort=True).head(1)
    yield Paragraph(
        say("depth.cases", cases=passes["case"].nunique(), examples=[_example(step) for step in first.itertuples()]),
        lead=say("depth.lead_cases"),
    )
    yield from writer.figure("ladder_case")
    yield from writer.table("worked_cases")


def _example(step) -> str:
    """`12.5 − 9.5 + 0 = 3 mm at pass 1 of case 1`."""
    return say(
        "depth.case_example",
        length=step.length_mm,
        less=MINUS,
        stop=step.stop_length_mm,
        plus=MINUS if step.platform_mm < 0 else "+",
        platform=abs(step.platform_mm),
        depth=step.depth_mm,
        pass_no=int(step.step_no),
        case=int(step.case),
    )
