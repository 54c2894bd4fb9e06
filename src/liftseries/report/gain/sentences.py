"""What bone was gained, in sentences."""

from __future__ import annotations

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import counted, decimal, missing
from liftseries.report.kit.sentences import compared, open_direction, size_of, source
from liftseries.report.kit.words import Words


def gain_sentence(material: Material) -> Paragraph | None:
    """How much bone was gained around a year."""
    course = material.table("gain_by_visit")
    if course.empty:
        return None
    year = course[course["months"].eq(12)] if course["months"].eq(12).any() else course.tail(1)
    row = year.iloc[0]
    sd = "" if missing(row["sd"]) else f" (SD {decimal(row['sd'])})"
    text = (
        f"Around month {row['months']:g} the mean bone gain was {decimal(row['mean'])} mm{sd}, from "
        f"{counted(row['n'], 'measurement')}."
    )
    return Paragraph(text, "models/gain_by_visit.csv")


def difference(row, words: Words) -> Paragraph:
    """What a term of the gain model says."""
    numbers, larger = size_of(row)
    text = f"{compared(row, words, 'bone gain')} {numbers} mm {'larger' if larger else 'smaller'}"
    text += ", adjusted for the other terms" + open_direction(row["conf_low"], row["conf_high"], 0.0) + "."
    if str(row["term"]).startswith("graft["):
        text += " The graft was chosen, not allotted, and on a radiograph it may pass for bone."
    return Paragraph(text[0].upper() + text[1:], source(row))
