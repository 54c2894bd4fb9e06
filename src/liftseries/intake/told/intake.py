"""What came in of a study: its tables, and all that is told of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.intake.told.causes import Cause
from liftseries.intake.told.findings import Finding, as_table


@dataclass(frozen=True)
class Intake:
    """What came in."""

    tables: dict[str, pd.DataFrame]  # the rows kept, by their keys; columns in the schema's order, the study's own last
    found: Sequence[Finding]  # the problems, in file order
    lines: Sequence[Finding]  # why rows were set aside
    counts: pd.DataFrame  # a row a file: table, file, read, kept, set_aside
    decisions: pd.DataFrame  # a row a decision, see `Decision`; also on rows set aside
    # By table, of the shape of its rows kept: true where a cell is empty because there is nothing to record.
    not_applicable: dict[str, pd.DataFrame]
    corrections: pd.DataFrame  # a row a line of corrections.csv: line, table, key, column, person, state
    corrected: pd.DataFrame  # a row a corrected cell: see `corrected_cells`
    filled: pd.DataFrame  # a row an empty cell of an outcome that was taken for an answer: see `filled_cells`
    proposed_reading: dict  # what study.yaml may confirm of words that were refused, as its section `reading`
    centre_of: Callable[[Finding], str]  # of a problem, for lists that go to a centre; "" where nobody can tell
    causes: list[Cause]  # the findings by cause, the most blocking first
    decided: list[Cause]  # the decisions by rule, the most frequent first
    places: dict[str, pd.DataFrame]  # table -> `file, row` of its rows kept
    kept: dict[str, np.ndarray]  # table -> where each of its rows kept stands among those read, set aside or not
    place_of: Callable[[str, int, str], str]  # table, row kept and column -> `cases.xlsx, sheet sites, cell C7`

    # Tables of a row a problem are made when they are asked for: there may be hundreds of thousands.

    @cached_property
    def findings(self) -> pd.DataFrame:
        """A row a problem: the columns of set_aside, and `place`."""
        return as_table(self.found, "place")

    @cached_property
    def centres(self) -> list[str]:
        """The centre of each of the findings."""
        return [self.centre_of(finding) for finding in self.found]

    @cached_property
    def set_aside(self) -> pd.DataFrame:
        """A row a refused row and reason, as in the contract."""
        return as_table(self.lines)
