"""How rates, odds and risks of a perforation are estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import remarks_in
from liftseries.models.shared.gates import MANY_EVENTS
from liftseries.models.shared.resamples import FEWEST
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
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
        told = say("perforation.method_predictor", n=_resamples(material, quoted))
        yield Paragraph(" ".join([told, *_fewer(material, quoted)]), lead=say("perforation.lead_predictor"))


def _resamples(material: Material, quoted: pd.DataFrame) -> int:
    """How many resamples the rows say were drawn."""
    told = (one for note in quoted["note"] for one in remarks_in(note) if one.name == "resamples")
    return next((one.holes["n_resamples"] for one in told), material.asked["resamples"])


def _fewer(material: Material, quoted: pd.DataFrame) -> Iterable[str]:
    """Why fewer were drawn than the plan asks for; nothing where all were."""
    asked = material.asked["resamples"]
    if _resamples(material, quoted) < asked:
        yield say("perforation.fewer_resamples", asked=asked, many=MANY_EVENTS, fewest=FEWEST)


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
