"""The first page of the report for publication: notices, what was studied, main findings."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.depth import sentences as depth
from liftseries.report.gain import sentences as gain
from liftseries.report.kit.blocks import FirstPage, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, counted, people
from liftseries.report.kit.sentences import effect, first
from liftseries.report.perforation import sentences as perforation
from liftseries.report.survival import sentences as survival

NOTICES = (
    "For research and audit. This report is not a medical device and gives no advice for a patient in the chair.",
    "Local codes and licensed clinical judgement come first.",
    "Small numbers mislead: read every share with its denominator and every estimate with its interval.",
)
RELEASED = (
    "Made to leave the house: numbers that tell of few patients, or would give them away, are withheld; a chapter says "
    "which, and why."
)


def first_page(material: Material) -> FirstPage:
    """What must be known before any number is read, what was studied, and the main findings."""
    notices = (*NOTICES, *([RELEASED] if material.withheld else []))
    return FirstPage(notices, tuple(in_numbers(material)), tuple(findings(material)))


def in_numbers(material: Material) -> Iterable[tuple[str, str]]:
    """What was studied: label and number."""
    stages = {row["stage"]: row for _, row in material.table("flow").iterrows()}
    if "in the series" in stages:
        yield "In the series", people(stages["in the series"])
    if "set aside" in stages:
        yield "Set aside", people(stages["set aside"])
    for stage, label in (("with a drilling log", "With a drilling log"), ("followed", "Followed")):
        if stage in stages:
            yield label, people(stages[stage])
    rate = first(material.rows("perforation.rate", "all"))  # each method's row has the same counts
    if rate is not None:
        yield (
            "Perforations",
            f"{count(rate['n_events'])} at {counted(rate['n_sites'], 'site')} where it is known",
        )
    followed = first(material.rows("survival.km", "all"))
    if followed is not None and followed["n_sites"]:
        yield (
            "Implant failures",
            f"{count(followed['n_events'])} of {counted(followed['n_sites'], 'implant')} followed",
        )


def findings(material: Material) -> Iterable[Paragraph]:
    """Four to six sentences with intervals."""
    words = material.words
    sentences = [
        perforation.rate_sentence(material),
        effect(first(perforation.quoted_odds(material)), words, "the odds of a perforation"),
        depth.ended_sentence(material),
        survival.survival_sentence(material),
        effect(first(survival.quoted_hazards(material)), words, "the hazard of implant failure"),
        gain.gain_sentence(material),
    ]
    found = [sentence for sentence in sentences if sentence is not None]
    yield from found or [Paragraph("Nothing could be estimated; the chapters say why.")]
