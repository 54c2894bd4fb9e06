"""Who is in the study: its chapters, block by block."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.numbers import count, counted, listed, people
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.series.recorded import surgery_blocks


def what_was_studied(writer: Writer) -> Iterable[Block]:
    """What was studied: files, rows, the terms of the models."""
    material = writer.material
    yield Paragraph(
        "A series of crestal sinus floor lifts with implants. The unit of study is the site; sites of one "
        "patient resemble each other, and every interval that says so takes that into account. Depths run "
        "along the drilling axis, positive into bone, from 0 at the crest."
    )
    files = material.plan["tables"]
    if files:
        named = [f"{counted(len(labels), 'file')} of {table}" for table, labels in files.items()]
        yield Paragraph(f"The study folder names {listed(named)}.")
    if len(material.table("counts")):
        totals = material.table("counts").groupby("table", sort=False)[["read", "kept", "set_aside"]].sum()
        told = [f"{name} {count(row['kept'])} of {count(row['read'])}" for name, row in totals.iterrows()]
        yield Paragraph(f"Rows kept of rows read: {listed(told)}.")
    terms = {
        "perforation": material.asked["perforation_terms"],
        "survival": material.asked["survival_terms"],
        "bone gain": material.asked["gain_terms"],
    }
    named = tuple(
        f"{question}: {listed([small(material.words.column(term)) for term in chosen])}"
        for question, chosen in terms.items()
        if chosen
    )
    yield Listing("The plan names the terms that each model takes:", named)


def who_is_in_it(writer: Writer) -> Iterable[Block]:
    """Who is in the series, and what is missing of them."""
    material = writer.material
    stages = {row["stage"]: row for _, row in material.table("flow").iterrows()}
    if "in the series" in stages:
        told = [
            f"{stage}: {people(stages[stage])}" for stage in ("read", "set aside", "in the series") if stage in stages
        ]
        yield Paragraph(f"{'; '.join(told)[0].upper()}{'; '.join(told)[1:]}.")
    else:
        yield Paragraph("The run left no counts of patients and sites.")
    yield from writer.table("flow")
    if material.withheld:
        yield Paragraph("Rows set aside are single records; which and how many there were stays in the house.")
    elif material.table("set_aside").empty:
        yield Paragraph("No row was set aside.")
    else:
        n = len(material.table("set_aside").drop_duplicates(["table", "file", "row"]))
        yield Paragraph(
            f"{counted(n, 'row')} of all tables {'was' if n == 1 else 'were'} set aside, with what depends on them."
        )
        yield from writer.table("set_aside")
    yield from surgery_blocks(writer)
    if material.table("missing").empty:
        yield Paragraph("The run left no count of missing values.")
    elif pd.to_numeric(material.table("missing")["n_missing"]).eq(0).all():
        yield Paragraph("No value is missing in the columns looked at.")
    else:
        yield from writer.table("missing")
