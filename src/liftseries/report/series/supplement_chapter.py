"""Who is in the study: its blocks of the supplement."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count
from liftseries.report.kit.sentences import small
from liftseries.report.kit.stages import has_log
from liftseries.report.kit.words import DEFINITIONS, DEVIATIONS
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.series.declarations import PARTS
from liftseries.report.series.recorded import surgery_blocks
from liftseries.report.series.report_chapter import corrected, oddities, set_aside

MODELS = {
    "series.perforation": "perforation_terms",
    "series.survival": "survival_terms",
    "series.gain": "gain_terms",
}


def what_was_studied(writer: Writer) -> Iterable[Block]:
    """What was studied: files, rows, the terms of the models; the words of the ladder and the deviations."""
    material = writer.material
    yield Paragraph(say("series.unit"))
    files, rows = named_files(material), rows_kept(material)
    if files or rows:
        yield Paragraph(" ".join(filter(None, (files, rows))))
    chosen = {say(name): material.asked[key] for name, key in MODELS.items() if material.asked[key]}
    items = (
        say("series.terms_of", model=model, terms=[small(material.words.column(term)) for term in terms])
        for model, terms in chosen.items()
    )
    if chosen:
        yield Listing(say("series.terms"), tuple(items))
    yield from definitions(material)


def named_files(material: Material) -> str:
    """How many files of each table the plan names."""
    files = material.plan["tables"]
    told = [say("series.files_of", n=len(labels), table=table) for table, labels in files.items()]
    return say("series.files", files=told) if told else ""


def rows_kept(material: Material) -> str:
    """Rows kept of rows read, by table."""
    counts = material.table("counts")
    if counts.empty:
        return ""
    totals = counts.groupby("table", sort=False)[["read", "kept"]].sum()
    told = [
        say("series.rows_kept_of", table=name, kept=count(row["kept"]), read=count(row["read"]))
        for name, row in totals.iterrows()
    ]
    return say("series.rows_kept", tables=told)


def definitions(material: Material) -> Iterable[Block]:
    """The words of drilling and lifting; those of the ladder and the deviations only where there is a log."""
    lift = f"{say('series.planned_lift')} {say('series.planned_dome')}"
    if not has_log(material):
        yield Paragraph(lift)
        return
    yield Paragraph(f"{say('series.pass')} {say('series.ladder')} {lift}")
    items = (say("series.deviation", title=DEVIATIONS[name], means=DEFINITIONS[name]) for name in DEVIATIONS)
    yield Listing(say("series.deviations"), tuple(items))


def who_is_in_it(writer: Writer) -> Iterable[Block]:
    """All that was described, rows set aside, cells corrected, surgery, what is missing."""
    material = writer.material
    for unit in ("patients", "sites"):
        for part in range(PARTS):
            yield from writer.table(f"characteristics_{unit}" + (f"_{part + 1}" if part else ""))
    yield Paragraph(set_aside(material))
    yield from writer.table("set_aside")
    yield Paragraph(corrected(material))
    yield from writer.table("corrected")
    yield Paragraph(oddities(material))
    yield from writer.table("oddities")
    yield from surgery_blocks(writer)
    gaps = material.table("missing")
    if gaps.empty:
        yield Paragraph("" if writer.material.withheld else say("series.no_count_of_missing"))
    elif pd.to_numeric(gaps["n_missing"]).eq(0).all():
        yield Paragraph(say("series.nothing_missing"))
    else:
        yield from writer.table("missing")
