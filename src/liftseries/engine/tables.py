"""The tables of a run, read by the names that declarations give them; see `files`."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from liftseries.base.tables import read_table
from liftseries.engine.files import file_of
from liftseries.models.shared.results import DESIGN_EFFECT, RESULT_COLUMNS


class Tables:
    """The tables of a run's output folder, each read once."""

    def __init__(self, output: Path | str = "."):
        self.output = Path(output)
        self._read = {}

    def __call__(self, source: str):
        """The table; of estimates the rows without the design effects below them."""
        if source not in self._read:
            self._read[source] = self._from_file(source)
        return self._read[source]

    def _from_file(self, source: str):
        path, (kind, _, name) = self.output / file_of(source), source.rpartition(":")
        if path.suffix == ".parquet":
            return pd.read_parquet(path)
        if not kind:
            return read_table(path)
        rows = read_estimates(path)
        return rows if kind == "estimates" else rows[rows["analysis"].eq(name)].reset_index(drop=True)


def read_estimates(path: Path | str) -> pd.DataFrame:
    """A question's own rows, without the design effects that stand below them."""
    rows = read_table(path, RESULT_COLUMNS)
    return rows[~rows["analysis"].eq(DESIGN_EFFECT)].reset_index(drop=True)
