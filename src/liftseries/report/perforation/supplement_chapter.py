"""How often the membrane tore: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.perforation.questions import QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.sentences import effects, problems
from liftseries.report.kit.writer import Writer
from liftseries.report.perforation.recorded import recorded_blocks
from liftseries.report.perforation.sentences import (
    NO_CUT_POINTS,
    bend_sentences,
    model_sentence,
    quoted_odds,
    rate_sentence,
    risk_difference_sentences,
    risk_sentences,
    shares_by,
    validation_sentences,
)


def blocks(writer: Writer) -> Iterable[Block]:
    """How often the membrane tore, and what goes with it."""
    material, words = writer.material, writer.material.words
    rates = material.rows("perforation.rate")
    if rates.empty or pd.to_numeric(rates["n_sites"]).fillna(0).eq(0).all():
        yield Paragraph("No site has its perforation recorded, so nothing can be said of the membrane.")
    sentence = rate_sentence(material)
    if sentence:
        yield sentence
    yield from shares_by(material)
    yield from writer.table("perforation_rate")
    yield from model_sentence(material)
    yield from writer.table("perforation_few_cases")
    quoted = quoted_odds(material)
    yield from effects(quoted, words, "the odds of a perforation")
    yield from writer.table("perforation_odds")
    yield from risk_sentences(material, words)
    yield from risk_difference_sentences(material, words)

    yield from bend_sentences(material, words)
    for table in ("perforation_nonlinearity", "risk_differences", "perforation_risk"):
        yield from writer.table(table)
    if len(quoted):
        yield Paragraph(NO_CUT_POINTS)
        yield from writer.figure("perforation_methods")
    yield from writer.table("perforation_methods")
    yield from recorded_blocks(writer)
    yield from validation_sentences(material)
    yield from writer.table("perforation_validation")
    yield from problems(material, QUESTIONS)


def prediction(writer: Writer) -> Iterable[Block]:
    """The model as a predictor, non-linearity, risks by height and lift."""
    yield from ()
