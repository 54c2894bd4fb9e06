"""What was done at surgery: the blocks of the chapter that tell of it; nothing where nothing was recorded."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.sentences import first, source
from liftseries.report.kit.tables.described import recorded
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

VOLUMES = {"fluid_ml": "series.fluid", "graft_ml": "series.graft"}


def surgery_blocks(writer: Writer) -> Iterable[Block]:
    """Volumes and loading in words, then the tables."""
    yield from filter(None, (volume_sentence(writer.material), loading_sentence(writer.material)))
    yield from writer.table("surgery")
    yield from writer.table("implant_sizes")


def quoted_median(material: Material, measure: str):
    """The row of a median that may be quoted, or None."""
    rows = recorded(material.quoted("series.surgery"))
    return first(rows[rows["term"].eq(f"{measure} median")])


def volume_sentence(material: Material) -> Paragraph | None:
    """Fluid and graft, and how many times the spherical-cap volume."""
    told, rows = [], []
    for column, name in VOLUMES.items():
        volume, ratio = quoted_median(material, column), quoted_median(material, f"{column}/dome_ml")
        if volume is None:
            continue
        rows += [row for row in (volume, ratio) if row is not None]
        times = "" if ratio is None else say("series.times_dome", times=ratio["estimate"])
        told.append(say(name, ml=volume["estimate"], sites=volume["n_sites"], times=times))
    return Paragraph(say("series.volumes", volumes=told), "; ".join(map(source, rows))) if told else None


def loading_sentence(material: Material) -> Paragraph | None:
    """When implants were loaded."""
    row = quoted_median(material, "loading_months")
    if row is None or missing(row["estimate"]):
        return None
    return Paragraph(say("series.loading", months=row["estimate"], implants=row["n_sites"]), source(row))
