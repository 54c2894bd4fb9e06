"""A CSV as a run leaves it, read back with its texts as texts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

# fmt: off
TEXT_COLUMNS = (
    "analysis", "subset", "term", "scale", "method", "note", "problem", "reason", "level", "stage", "column",
    "unit", "table", "file", "rule", "message", "value_class", "deviation",
    "complication", "rungs_mm", "deviations", "site_label", "variable", "level_of", "model", "predictors",
)


def read_table(path: Path | str, columns: Sequence[str] = ()) -> pd.DataFrame:
    """A CSV that a run left; texts stay texts (a level `NA`, a term `12`), an absent file is an empty one."""
    path = Path(path)
    if not path.is_file() or not path.stat().st_size:
        return pd.DataFrame(columns=list(columns))
    texts = dict.fromkeys(TEXT_COLUMNS, str)
    table = pd.read_csv(path, dtype=texts, keep_default_na=False, na_values=[""])
    missing = [column for column in columns if column not in table]
    table = table.assign(**dict.fromkeys(missing))
    for column in ("term", "method", "note", "problem", "subset", "level"):
        if column in table:
            table[column] = table[column].fillna("")
    return table
