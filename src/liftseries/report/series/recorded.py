"""What was done at surgery: the blocks of the chapter that tell of it; nothing where nothing was recorded."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.series.questions import QUESTIONS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import counted, decimal, missing
from liftseries.report.kit.sentences import problems
from liftseries.report.kit.tables.described import recorded
from liftseries.report.kit.writer import Writer


def surgery_blocks(writer: Writer) -> Iterable[Block]:
    """Volumes and loading in words, then the tables."""
    yield from filter(None, (volume_sentence(writer.material), loading_sentence(writer.material)))
    yield from writer.table("surgery")
    yield from writer.table("implant_sizes")
    yield from problems(writer.material, QUESTIONS)


def _median(material: Material, measure: str):
    """The row of a median that may be quoted, or None."""
    rows = recorded(material.rows("series.surgery"))
    rows = rows[rows["term"].eq(f"{measure} median") & rows["headline"].astype(bool) & rows["estimate"].notna()]
    return rows.iloc[0] if len(rows) else None


def volume_sentence(material: Material) -> Paragraph | None:
    """Fluid and graft, and how many times the planned dome."""
    told = []
    for column, name in (("fluid_ml", "of fluid"), ("graft_ml", "of graft")):
        volume, ratio = _median(material, column), _median(material, f"{column}/dome_ml")
        if volume is None:
            continue
        times = "" if ratio is None else f", {decimal(ratio['estimate'], 1)} times the volume of the planned dome"
        text = f"{decimal(volume['estimate'])} ml {name} at {counted(volume['n_sites'], 'site')}{times}"
        told.append(text)
    return Paragraph(f"Volumes, medians: {'; '.join(told)}.", "series.surgery") if told else None


def loading_sentence(material: Material) -> Paragraph | None:
    """When implants were loaded."""
    row = _median(material, "loading_months")
    if row is None or missing(row["estimate"]):
        return None
    return Paragraph(
        f"Implants were loaded a median of {decimal(row['estimate'], 1)} months after placement "
        f"({counted(row['n_sites'], 'implant')} with the time recorded).",
        "series.surgery · all · loading_months median",
    )
