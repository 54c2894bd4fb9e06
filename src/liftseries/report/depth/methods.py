"""How depths and their agreement are worked out: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.depth.supplement_chapter import has_log
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import left_out
from liftseries.report.kit.writer import Writer


def of_depths(writer: Writer) -> Iterable[Paragraph]:
    """Floor and lift; depths, ladder and deviations where there is a log."""
    material = writer.material
    if has_log(material):
        yield from _of_log(material)
    yield Paragraph(
        lead="Floor and lift",
        text=(
            "Residual bone height is the middle of its lowest and highest value over the footprint; the "
            "slope is the angle between them over the implant's diameter; the planned lift is platform "
            "depth plus implant length less residual bone height; bone gain is bone height less residual "
            "bone height."
        ),
    )


def _of_log(material: Material) -> Iterable[Paragraph]:
    asked, margin = material.asked, material.asked["first_depth_margin_mm"]
    yield Paragraph(
        lead="Depths",
        text=(
            "A pass reaches the instrument's length less what the stop takes off, plus the planned platform "
            "depth (guided; 0 freehand), below the crest. A stop marked with a length takes off its "
            "marking; one marked with a depth takes off the length that it is marked for less its marking."
        ),
    )
    yield Paragraph(
        lead="Ladder",
        text=(
            f"The first rung is the deepest reachable depth that stays {_mm(margin['guided'])} (guided) "
            f"or {_mm(margin['freehand'])} (freehand) short of the lowest floor; each next one the "
            f"deepest within {_mm(asked['step_mm'])} of the last; the last the first that reaches the "
            f"highest floor. Depths that differ by up to {_mm(asked['depth_tolerance_mm'])} count as "
            f"equal, and a speed above {asked['speed_limit_rpm']:g} rpm as high."
        ),
    )
    yield Paragraph(
        lead="Deviations",
        text=(
            "A probing is a gauge pass, or a drill pass after which the floor was felt closed or open. A deviation is "
            "judged only where the log tells what it takes; shares are of the sites where it can be judged. A site was "
            "drilled as planned where no deviation that can be judged is true. Shares have patients as clusters, with "
            "intervals on the logit and Student's t."
        ),
    )


def of_agreement(writer: Writer) -> Iterable[Paragraph]:
    """Agreement of achieved with planned depths; nothing without a log."""
    material = writer.material
    if not has_log(material):
        return
    yield Paragraph(
        lead="Agreement of depths",
        text=(
            "Achieved less planned last depth, and likewise the depth read on a gauge less the recomputed depth of the "
            "hole while the floor was closed: mean over the sites, limits 1.96 standard deviations on either side "
            "(Bland and Altman 1999, doi:10.1177/096228029900800204), patients as clusters, intervals of the limits by "
            "leaving out one patient after the other. Beside them restricted maximum likelihood with a patient "
            "intercept; limits are bias ± 1.96 √(variance between + within patients), their intervals put those of "
            "bias and total SD together (Zou 2013, doi:10.1177/0962280211402548). Whether the error grows with "
            "the depth is asked by regressing it on the "
            "planned depth, which is known without error." + left_out(material, "depth.agreement")
        ),
    )


def _mm(value: float) -> str:
    return f"{value:g} mm"
