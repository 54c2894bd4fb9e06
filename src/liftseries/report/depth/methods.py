"""How depths and their agreement are worked out: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.depth.report_chapter import plan_lengths
from liftseries.report.depth.sentences import has_log, limits_rows
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def of_depths(writer: Writer) -> Iterable[Paragraph]:
    """Floor and lift; depths, ladder and deviations where there is a log."""
    material = writer.material
    if has_log(material):
        asked = material.asked
        ladder = {"tolerance": asked["depth_tolerance_mm"], "speed": asked["speed_limit_rpm"]}
        yield _paragraph("depths")
        yield _paragraph("ladder", **plan_lengths(material), **ladder)
        yield _paragraph("deviations")
    yield _paragraph("floor")


def of_agreement(writer: Writer) -> Iterable[Paragraph]:
    """Agreement of depths; nothing where none is told."""
    material = writer.material
    if not limits_rows(material, "depth.agreement") and not limits_rows(material, "depth.read"):
        return
    found = _paragraph("agreement")
    yield Paragraph(" ".join(filter(None, (found.text, _left_out(material)))), lead=found.lead)


def _paragraph(name: str, **holes) -> Paragraph:
    return Paragraph(say(f"depth.methods_{name}", **holes), lead=say(f"depth.methods_lead_{name}"))


def _left_out(material: Material) -> str:
    """How many sites the agreement with the plan left out, and why."""
    rows = material.left_out[material.left_out["analysis"].eq("depth.agreement")]
    reasons = [
        say("depth.methods_left_out_part", sites=row["n_sites"], reason=small(material.words.reason(row["reason"])))
        for _, row in rows.iterrows()
    ]
    return say("depth.methods_left_out", reasons=reasons) if reasons else ""
