"""How follow-up, survival and hazards are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.shared.due import STAGED_MONTHS, WINDOW_MONTHS
from liftseries.models.shared.gates import EVENTS_A_TERM, FEWEST_AT_RISK, MANY_EVENTS, MANY_TERMS, RATIO, SPLINE
from liftseries.models.survival.time_observed import EARLY_MONTHS
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.survival.sentences import may_be_set_side_by_side, quoted_hazards


def of_survival(writer: Writer) -> Iterable[Paragraph]:
    """Follow-up, survival, hazards, and what the choices behind them are worth; nothing without a visit."""
    material = writer.material
    if material.has_visits:
        yield from (_lead(name, holes) for name, holes in _methods(material))


def _lead(name: str, holes: dict) -> Paragraph:
    return Paragraph(lead=say(f"survival.lead_{name}"), text=say(f"survival.method_{name}", **holes))


def _methods(material: Material) -> Iterable[tuple[str, dict]]:
    """Each method by name, with what fills its sentences."""
    yield "follow_up", {"staged": STAGED_MONTHS, "window": WINDOW_MONTHS, "early": EARLY_MONTHS}
    yield (
        "survival",
        {
            "fewest": FEWEST_AT_RISK,
            "months": [f"{month:g}" for month in material.asked["survival_months"]],
            "left_out": left_out(material, "survival.km", "follow_up"),
        },
    )
    if len(quoted_hazards(material)):
        yield (
            "hazard",
            {
                "many": MANY_EVENTS,
                "ratio": RATIO,
                "terms_from": MANY_TERMS,
                "each": EVENTS_A_TERM,
                "terms": terms_named(material, "survival_terms"),
                "left_out": left_out(material, "survival.cox"),
            },
        )
    if may_be_set_side_by_side(material):
        yield "between", {"left_out": left_out(material, "survival.interval")}
        yield "competing", {}
    if len(material.quoted("survival.ph")):
        yield "over_time", {"from_failures": SPLINE}
    if len(material.quoted("survival.gain")):
        yield "landmark", {"month": material.asked["landmark_months"], "left_out": left_out(material, "survival.gain")}
