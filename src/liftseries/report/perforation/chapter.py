"""How often the membrane tore: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.perforation.questions import QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.numbers import counted, share_of
from liftseries.report.kit.sentences import effects, problems, rows_to_read, small
from liftseries.report.kit.words import BANDS
from liftseries.report.kit.writer import Writer
from liftseries.report.perforation.recorded import recorded_blocks
from liftseries.report.perforation.sentences import (
    MODELS,
    NO_CUT_POINTS,
    bend_sentences,
    rate_sentence,
    risk_difference_sentences,
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
    for band, name in BANDS.items():
        told = []
        for _, row in rates[rates["subset"].str.startswith(f"{band}=") & rates["method"].eq("exact")].iterrows():
            level = row["subset"].partition("=")[2]
            told.append(f"{level} mm {share_of(row['n_events'], row['n_sites'])}")
        if told:
            yield Paragraph(f"By {small(name)}: {'; '.join(told)}.", f"perforation.rate · {band}=… · rate · exact")
    yield from writer.figure("perforation_by_height")
    yield from writer.table("perforation_rate")
    gee = material.rows("perforation.gee")
    if len(gee):
        yield Paragraph(
            f"The model rests on {counted(gee['n_events'].iloc[0], 'perforation')} in "
            f"{counted(gee['n_sites'].iloc[0], 'site')} of {counted(gee['n_patients'].iloc[0], 'patient')}. "
            "Each term is held against the others."
        )
        yield from effects(rows_to_read(material, *MODELS), words, "the odds of a perforation")
    yield from writer.figure("perforation_odds")
    yield from writer.table("perforation_odds")
    if len(gee):
        yield Paragraph(
            "The same terms in other ways: with a penalty that keeps odds finite where a level has no perforation, and "
            "with missing terms filled in. Where they disagree, the data do not carry the term."
        )
    yield from writer.table("perforation_ways")
    yield from writer.figure("risk_curves")
    yield from bend_sentences(material, words)
    yield from writer.table("perforation_nonlinearity")
    yield from risk_difference_sentences(material, words)
    yield from writer.table("risk_differences")
    yield from writer.table("perforation_risk")
    yield Paragraph(NO_CUT_POINTS)
    yield from recorded_blocks(writer)
    yield from validation_sentences(material)
    yield from writer.table("perforation_validation")
    yield from problems(material, QUESTIONS)
