"""How rates, odds and risks of a perforation are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.questions import question
from liftseries.models.shared.gates import MANY_EVENTS
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.replicates import n_told
from liftseries.report.kit.sentences import small, terms_named
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import may_be_compared, share_row


def of_rates_and_odds(writer: Writer) -> Iterable[Paragraph]:
    """Rates, bounds where nothing happened, odds ratios."""
    material = writer.material
    yield _led("rates", left_out=_left_out(material, "perforation.rate"))
    yield _led("nothing")
    terms = terms_named(material, "perforation_terms")
    yield _led("odds", terms=terms, left_out=_left_out(material, "perforation.firth"))


def of_risks(writer: Writer) -> Iterable[Paragraph]:
    """Standardised risks, and the model as a predictor; nothing where no model could be fitted."""
    material = writer.material
    if not may_be_compared(share_row(material)):
        return
    yield _led("risks")
    if len(quoted := material.quoted("perforation.validation")):
        asked = material.asked["resamples"]
        drawn = n_told(quoted, "resamples", asked)
        told = " ".join([say("perforation.method_predictor", n=drawn), *_fewer(asked, drawn)])
        yield Paragraph(told, lead=say("perforation.lead_predictor"))


def _fewer(asked: int, drawn: int) -> Iterable[str]:
    """Why fewer were drawn than the plan asks for; nothing where all were."""
    if drawn < asked:
        fewest = question("perforation_validation").draws.fewest
        yield say("perforation.fewer_resamples", asked=asked, many=MANY_EVENTS, fewest=fewest)


def _led(name: str, **holes) -> Paragraph:
    return Paragraph(say(f"perforation.method_{name}", **holes), lead=say(f"perforation.lead_{name}"))


def _left_out(material: Material, analysis: str) -> str:
    """How many sites an analysis left out, and why."""
    rows = material.left_out[material.left_out["analysis"].eq(analysis) & material.left_out["subset"].eq("all")]
    told = [
        say(
            "perforation.left_out_item", n_sites=row["n_sites"], reason=small(material.words.reason(str(row["reason"])))
        )
        for _, row in rows.iterrows()
    ]
    return say("perforation.left_out", told=told) if told else say("perforation.none_left_out")
