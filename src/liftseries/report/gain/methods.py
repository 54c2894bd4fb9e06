"""How bone gain is estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.gain.marginal import FAR_MM
from liftseries.report.gain.quoted import GAIN, ISQ, MARGINAL, TORQUE
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def of_gain(writer: Writer) -> Iterable[Paragraph]:
    """The mixed models and the means; nothing where nothing was measured."""
    material = writer.material
    if len(material.quoted(GAIN)):
        terms, without = terms_named(material, "gain_terms"), left_out(material, GAIN)
        text = say("gain.method_gain", terms=terms, left_out=without)
        yield Paragraph(text, lead=say("gain.method_gain_lead"))
    if len(material.quoted(MARGINAL)):
        text = say("gain.method_marginal", limit=f"{FAR_MM:g}", left_out=left_out(material, MARGINAL))
        yield Paragraph(text, lead=say("gain.method_marginal_lead"))
    if len(material.quoted(TORQUE, ISQ)):
        yield Paragraph(say("gain.method_stability"), lead=say("gain.method_stability_lead"))
