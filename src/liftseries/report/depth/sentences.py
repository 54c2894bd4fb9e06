"""How deep was drilled, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import (
    NOT_ESTIMATED,
    count,
    counted,
    decimal,
    listed,
    missing,
    percent,
    share_of,
)
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.sentences import first_term, open_direction, size_of, small, source
from liftseries.report.kit.words import ENDED, trace


def ended_sentence(material: Material) -> Paragraph | None:
    """How the sites with a plan and a log ended."""
    rows = {row["term"]: row for _, row in material.quoted("depth.ended").iterrows()}
    if not rows:
        return None
    one = next(iter(rows.values()))
    told = [f"{small(ENDED[term])} {_share(row)}" for term, row in rows.items()]
    text = f"Of {counted(one['n_sites'], 'site')} with a plan and a drilling log the drilling ended: {listed(told)}."
    return Paragraph(text, trace("depth.ended", "all", "", ""))


def adherence_sentence(material: Material) -> Iterable[Block]:
    """How many sites were drilled as planned."""
    for _, row in quoted_in(material.rows("depth.adherence", "all")).iterrows():
        text = (
            f"{share_of(row['n_events'], row['n_sites'])} sites with a drilling log were drilled as planned "
            f"(95% interval {_limits(row)}): their log shows none of the deviations that can be judged from it."
        )
        yield Paragraph(text[0].upper() + text[1:], source(row))


def _share(row) -> str:
    """`12 (3.5%, 95% interval 2.1 to 5.6%)`."""
    return f"{count(row['n_events'])} ({percent(row['estimate'])}, 95% interval {_limits(row)})"


def _limits(row) -> str:
    if missing(row["conf_low"]):
        return NOT_ESTIMATED
    return f"{percent(row['conf_low'])} to {percent(row['conf_high'])}"


def read_sentence(material: Material) -> Iterable[Block]:
    """How far the gauge's readings lie from the recomputed depths."""
    rows = {row["term"]: row for _, row in material.quoted("depth.read").iterrows()}
    if not {"bias", "low", "high"} <= set(rows):
        return
    size, deeper = size_of(rows["bias"])
    yield Paragraph(
        f"Where a depth was read on the gauge with the floor closed, it lay on average {size} mm "
        f"{'deeper' if deeper else 'less deep'} than recomputed from instrument and stop, at "
        f"{counted(rows['bias']['n_sites'], 'site')}; the limits of agreement reach from "
        f"{decimal(rows['low']['estimate'])} to {decimal(rows['high']['estimate'])} mm.",
        source(rows["bias"]),
    )


def depth_sentence(material: Material) -> Paragraph | None:
    """How far the last depth lies from the planned one."""
    rows = {row["term"]: row for _, row in material.quoted("depth.agreement").iterrows()}
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
    way = "exceeded" if deeper else "fell short of"
    text = f"With each further mm planned, the last depth {way} the plan by {change} mm more"
    yield Paragraph(text + open_direction(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))
