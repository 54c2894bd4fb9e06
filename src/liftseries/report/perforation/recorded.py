"""Tears as recorded: the blocks of the chapter that tell of them; nothing where nothing was recorded."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, counted, decimal, is_withheld, listed, missing, share_of
from liftseries.report.kit.tables.described import recorded
from liftseries.report.kit.writer import Writer
from liftseries.report.perforation.recorded_tables import NOT_TORN, STAGES, TORN, may_be_compared


def recorded_blocks(writer: Writer) -> Iterable[Block]:
    """Stage, size, test, management, sequel; then by case number."""
    material = writer.material
    yield from filter(None, (stage_sentence(material), size_sentence(material), sequel_sentence(material)))
    few = len(material.read("perforation_few_cases")) > 0  # they stand one by one in a table
    if len(recorded(material.rows("perforation.stage"))) and not few:
        yield from writer.figure("tear_stages")
    yield from writer.table("tears")
    if may_be_compared(recorded(material.rows("perforation.learning"))):
        yield from writer.figure("learning")
    yield from writer.table("learning")


def stage_sentence(material: Material) -> Paragraph | None:
    """When tears were noticed."""
    rows = recorded(material.rows("perforation.stage"))
    seen = rows[pd.to_numeric(rows["n_events"]).fillna(0).ne(0)]
    if seen.empty or any(map(is_withheld, (*seen["n_events"], *seen["n_sites"]))):
        return None
    known = seen[seen["term"].ne("unknown")]
    told = [f"{count(row['n_events'])} {STAGES[row['term']]}" for _, row in known.iterrows()]
    told += [
        f"the stage of {count(row['n_events'])} is not known"
        for _, row in seen[~seen.index.isin(known.index)].iterrows()
    ]
    return Paragraph(f"Of {counted(seen['n_sites'].iloc[0], 'tear')}, as noticed: {listed(told)}.", "perforation.stage")


def size_sentence(material: Material) -> Paragraph | None:
    """How large tears were."""
    of_term = {row["term"]: row for _, row in recorded(material.rows("perforation.size")).iterrows()}
    median, q1, q3 = (of_term.get(name) for name in ("median", "q1", "q3"))
    if (
        median is None
        or not median["headline"]
        or any(row is None or missing(row["estimate"]) for row in (median, q1, q3))
    ):
        return None
    low, high = decimal(q1["estimate"], 1), decimal(q3["estimate"], 1)
    return Paragraph(
        f"The largest diameter of {counted(median['n_sites'], 'tear')} was measured: median "
        f"{decimal(median['estimate'], 1)} mm, quartiles {low} to {high} mm.",
        "perforation.size · all · median",
    )


def sequel_sentence(material: Material) -> Paragraph | None:
    """What followed at torn sites and at the others, as counted."""
    rows = recorded(material.rows("perforation.sequel"))
    at = {(row["subset"], row["term"]): row for _, row in rows.iterrows()}
    torn, others = at.get((TORN, "failure")), at.get((NOT_TORN, "failure"))
    if torn is None or others is None:
        return None
    text = (
        f"Of the implants followed, {share_of(torn['n_events'], torn['n_sites'])} at torn sites failed and "
        f"{share_of(others['n_events'], others['n_sites'])} at the others"
    )
    months = [at.get((subset, "months")) for subset in (TORN, NOT_TORN)]
    if not any(row is None or missing(row["estimate"]) for row in months):
        first, second = (decimal(row["estimate"], 1) for row in months)
        text += f", followed for a median of {first} and {second} months"
    return Paragraph(f"{text}. These are counts, not a comparison of like with like.", "perforation.sequel")
