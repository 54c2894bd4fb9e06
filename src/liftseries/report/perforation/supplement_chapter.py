"""The membrane in the supplement: other methods, groups, sequel, case number; risks by height and lift, prediction."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import interval
from liftseries.report.kit.sentences import small, source
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import Told, limits, paragraph

USABLE_C, USABLE_SLOPE = 0.8, (0.9, 1.1)  # what a model should reach before it is tried on new patients; our convention


def blocks(writer: Writer) -> Iterable[Block]:
    """The same questions by other methods, shares by group, what followed, and by case number."""
    yield from writer.figure("perforation_methods")
    for name in ("perforation_methods", "perforation_rate", "perforation_sequel"):
        yield from writer.table(name)
    yield from writer.figure("learning")
    yield from writer.table("learning")


def prediction(writer: Writer) -> Iterable[Block]:
    """Risks by height and lift, their differences, non-linearity, the model as a predictor."""
    material = writer.material
    risks = [*writer.table("perforation_risk"), *writer.table("risk_differences")]
    yield from risks
    shapes = writer.figure("risk_shapes")
    yield from shapes
    told = [(say("perforation.shape"), [])] if shapes else []
    told += nonlinearity_sentence(material)
    told += [(say("perforation.no_cut_point"), [])] if risks else []
    yield from paragraph(told)
    yield from paragraph(validation_sentence(material))
    yield from writer.table("perforation_validation")


def nonlinearity_sentence(material: Material) -> Iterable[Told]:
    """Whether the risk is non-linear along residual height and planned lift."""
    rows = [row for _, row in material.quoted("perforation.nonlinearity").iterrows()]
    told = [
        say("perforation.nonlinearity_of", column=small(material.words.column(row["term"])), p=row["p_value"])
        for row in rows
    ]
    if told:
        yield say("perforation.nonlinearity", told=told), list(map(source, rows))


def validation_sentence(material: Material) -> Iterable[Told]:
    """How well the model predicts, and what that means for using it."""
    rows = material.quoted("perforation.validation")
    of_term = {row["term"]: row for _, row in rows[rows["subset"].eq("all")].iterrows()}
    if not {"c_statistic", "calibration_slope"} <= set(of_term):
        return
    c, slope = of_term["c_statistic"], of_term["calibration_slope"]
    usable = c["estimate"] >= USABLE_C and USABLE_SLOPE[0] <= slope["estimate"] <= USABLE_SLOPE[1]
    advice = say(f"perforation.{'usable' if usable else 'not_usable'}")
    text = say("perforation.validation", c=interval(*limits(c)), slope=interval(*limits(slope)), advice=advice)
    yield text, [source(c), source(slope)]
