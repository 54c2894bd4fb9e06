"""How deep was drilled, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import counted, decimal, missing
from liftseries.report.kit.sentences import first_term, open_direction, size_of, source


def depth_sentence(material: Material) -> Paragraph | None:
    """How far the last depth lies from the planned one."""
    rows = {row["term"]: row for _, row in material.rows("depth.agreement").iterrows() if not missing(row["estimate"])}
    if not {"bias", "low", "high"} <= set(rows):
        return None
    bias = rows["bias"]
    size, deeper = size_of(bias)
    text = (
        f"The last drilled depth lay on average {size} mm {'deeper' if deeper else 'shallower'} than "
        f"planned at {counted(bias['n_sites'], 'site')}; the limits of agreement reach from "
        f"{decimal(rows['low']['estimate'])} to {decimal(rows['high']['estimate'])} mm."
    )
    return Paragraph(text, source(bias))


def bias_sentence(material: Material) -> Iterable[Block]:
    """Whether the error of the last depth grows with the depth."""
    row = first_term(material.rows("depth.proportional_bias"))
    if row is None:
        return
    change, deeper = size_of(row)
    text = (
        f"With each further mm planned, the last depth lay {change} mm {'deeper' if deeper else 'shallower'} against it"
    )
    yield Paragraph(text + open_direction(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))
