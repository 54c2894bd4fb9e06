"""What was read otherwise than it shows: one record a cell, row or sheet, so that nobody has to guess later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from operator import attrgetter
from pathlib import Path

import pandas as pd

from liftseries.base.errors import UsageError
from liftseries.base.outputs import write_csv
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE


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
    n_cells: int = 1  # cells, or rows, that were taken so

    @property
    def message(self) -> str:
        return f"{self.stood.removeprefix(f'{self.n_cells} times: ')}: {self.taken_for}."


def decisions_table(decisions: Iterable[Decision]) -> pd.DataFrame:
    """A row a decision, in the order in which they were taken, with the fields as columns."""
    columns = [field.name for field in fields(Decision)]
    return pd.DataFrame(map(attrgetter(*columns), decisions), columns=columns).astype({"row": "Int64"})


def write_decisions(plan: Plan, decisions: pd.DataFrame, path: Path) -> None:
    """Writes the decisions as CSV, over an older list, but never over a file of the study.

    Raises
    ------
    UsageError
        The path is the study's own file, or cannot be written.
    """
    own = {file.resolve() for file in (plan.folder / PLAN_FILE, *plan.files())}
    if path.resolve() in own or path.suffix.lower() != ".csv":
        raise UsageError(f"--decisions {path}: name a file of its own that ends in .csv.")
    try:
        write_csv(path, decisions)
    except OSError as error:
        raise UsageError(f"--decisions {path}: cannot be written ({error.strerror}). Name another place.") from None
