"""What was read otherwise than it shows: one record a cell, row or sheet, so that nobody has to guess later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields

import pandas as pd


@dataclass(frozen=True)
class Decision:
    """How a part of a file was taken, by which rule.

    A text is never quoted: `stood` says what kind of thing stood there.
    """

    table: str
    file: str  # as study.yaml names it
    row: int | None  # as a spreadsheet shows it; None where a whole sheet or column is meant
    column: str  # as the schema or the header names it; empty where a whole row or sheet is meant
    place: str  # `cases.xlsx, sheet sites, cell C7`
    stood: str  # the kind of thing: "a text with a unit", "a hidden row", "a merged cell"
    taken_for: str
    rule: str  # snake_case


def decisions_table(decisions: Iterable[Decision]) -> pd.DataFrame:
    """A row a decision, in the order in which they were taken, with the fields as columns."""
    columns = [field.name for field in fields(Decision)]
    return pd.DataFrame([astuple(decision) for decision in decisions], columns=columns).astype({"row": "Int64"})
