"""The tables that a run leaves, read back with their texts as texts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

TEXT_COLUMNS = (
    "site_id", "patient_id", "analysis", "subset", "term", "scale", "method", "note", "problem", "reason", "level",
    "stage", "column",
    "operator", "centre", "protocol", "indicator", "signal", "verdict", "most_serious", "reasons",
    "unit", "table", "file", "rule", "message", "value_class", "deviation",
    "complication", "rungs_mm", "deviations", "site_label", "variable", "level_of", "model", "predictors",
    "group", "of_group", "operator",
)  # fmt: skip


def read_table(path: Path | str, columns: Sequence[str] = ()) -> pd.DataFrame:
    """A table that a run left; texts stay texts (a level `NA`, a term `12`), an absent file is an empty one."""
    path = Path(path)
    if not path.is_file() or not path.stat().st_size:
        return pd.DataFrame(columns=list(columns))
    if path.suffix == ".parquet":
        return pd.read_parquet(path)
    texts = dict.fromkeys(TEXT_COLUMNS, str)
    table = pd.read_csv(path, dtype=texts, keep_default_na=False, na_values=[""])
    missing = [column for column in columns if column not in table]
    table = table.assign(**dict.fromkeys(missing))
    for column in ("term", "method", "note", "problem", "subset", "level"):
        if column in table:
            table[column] = table[column].fillna("")
    return table


class Tables:
    """The tables of an output folder by the names that declarations give them, each read once.

    Parameters
    ----------
    where : name of a table -> its file, and the analyses whose rows are meant (all rows where none is named)
    output : the folder
    """

    def __init__(self, where: Callable[[str], tuple[str, Sequence[str]]], output: Path | str = "."):
        self.where, self.output = where, Path(output)
        self._read: dict[str, pd.DataFrame] = {}

    def __call__(self, source: str) -> pd.DataFrame:
        """The table of that name."""
        if source not in self._read:
            file, analyses = self.where(source)
            path = self.output / file
            table = pd.read_parquet(path) if path.suffix == ".parquet" else read_table(path)
            if analyses:
                table = table[table["analysis"].isin(analyses)].reset_index(drop=True)
            self._read[source] = table
        return self._read[source]
