"""How deep was drilled: the chapter, block by block."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.depth.questions import QUESTIONS
from liftseries.report.depth.sentences import (
    adherence_sentence,
    bias_sentence,
    depth_sentence,
    ended_sentence,
    read_sentence,
)
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import listed, share_of
from liftseries.report.kit.sentences import problems, small
from liftseries.report.kit.words import DEVIATIONS
from liftseries.report.kit.writer import Writer


def blocks(writer: Writer) -> Iterable[Block]:
    """How the drilling ended, deviations, the ladder of single cases; bias and limits of the depths go last."""
    material = writer.material
    if not has_log(material):
        yield Paragraph("The study has no drilling log, so nothing can be said of how deep was drilled.")
        return
    ended = ended_sentence(material)
    if ended:
        yield ended
    yield from adherence_sentence(material)
    if ended:
        yield from writer.figure("ended")
    if len(material.quoted("depth.adherence")):
        yield from writer.figure("adherence")
    yield from writer.table("drilled_as_planned")
    yield from _deviations(writer)
    yield from writer.figure("ladder_case")
    yield from read_sentence(material)
    if len(material.quoted("depth.read")):
        yield from writer.figure("depth_read")
        yield from writer.table("depth_read")
    sentence = depth_sentence(material)
    if sentence:
        yield sentence
        yield from writer.figure("planned_achieved")
        yield from writer.table("depth_agreement")
    yield from bias_sentence(material)
    if material.rows("depth.proportional_bias")["estimate"].notna().any():
        yield from writer.table("proportional_bias")
    yield from problems(material, QUESTIONS)


def _deviations(writer: Writer) -> Iterable[Block]:
    """The commonest deviations in a sentence, all in a figure and a table."""
    material = writer.material
    whole = material.table("deviations")[material.table("deviations")["subset"].eq("all")]
    whole = whole[pd.to_numeric(whole["n_sites"]).ne(0)]
    if len(whole):
        ranked = whole.sort_values("share", ascending=False, kind="stable").head(3)
        told = [
            f"{small(DEVIATIONS.get(row['deviation'], row['deviation']))} at {share_of(row['n_true'], row['n_sites'])}"
            for _, row in ranked.iterrows()
            if row["n_true"] > 0
        ]
        if told:
            yield Paragraph(
                f"The commonest deviations from the plan, of the sites where each can be judged: {listed(told)}.",
                "work/deviations.csv",
            )
        elif pd.to_numeric(whole["n_true"]).eq(0).all():
            yield Paragraph(
                "No deviation from the drilling plan was found where one can be judged.", "work/deviations.csv"
            )
    yield from writer.table("deviations")


def has_log(material: Material) -> bool:
    """Whether any site has a drilling log."""
    return bool(pd.to_numeric(material.table("deviations")["n_sites"]).fillna(0).ne(0).any())


def worked_cases(writer: Writer) -> Iterable[Block]:
    """Two cases, pass by pass."""
    yield from ()
