"""A column's levels: in which order they stand, which of them occur, and which sites belong to each.

`unknown` is missing. Categories keep their declared order, text sorts, true/false becomes `false`, `true`.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from liftseries.study.schema import UNKNOWN


def is_true_false(column: pd.Series) -> bool:
    """Whether a column holds only true, false and empty cells, of which at least one is filled."""
    if column.dtype == object:
        filled = column.dropna()
        return len(filled) > 0 and all(isinstance(value, bool | np.bool_) for value in filled)
    return pd.api.types.is_bool_dtype(column)


def is_number(column: pd.Series) -> bool:
    """Whether a column is a measurement rather than a label."""
    return pd.api.types.is_numeric_dtype(column) and not is_true_false(column)


def is_text(column: pd.Series) -> bool:
    """Whether a column holds words that nobody listed: no number, no true/false, no declared levels."""
    return not (is_number(column) or is_true_false(column) or isinstance(column.dtype, pd.CategoricalDtype))


def as_levels(column: pd.Series) -> pd.Categorical:
    """A column as a categorical of text labels in their order, without `unknown`, which is missing.

    Levels that are declared but do not occur are kept; code -1 is missing.
    """
    if is_true_false(column):
        codes = column.astype("boolean").astype("Int8").fillna(-1).to_numpy(np.int8)
        return pd.Categorical.from_codes(codes, categories=["false", "true"])
    declared = isinstance(column.dtype, pd.CategoricalDtype)
    order = column.cat.categories if declared else sorted(column.dropna().unique())
    known = [level for level in order if level != UNKNOWN]
    levels = pd.Categorical(column, categories=known)
    labels = [f"{level:g}" if isinstance(level, float) else str(level) for level in known]
    return levels.rename_categories(labels)


def is_missing(column: pd.Series) -> np.ndarray:
    """Whether each value is empty or `unknown`; shape (n,), true/false."""
    return (column.isna() | column.astype(object).eq(UNKNOWN).fillna(False)).to_numpy(bool)


def levels_present(levels: pd.Categorical) -> list[str]:
    """The levels that occur, in order."""
    occurs = np.bincount(levels.codes[levels.codes >= 0], minlength=len(levels.categories)) > 0
    return [str(level) for level in levels.categories[occurs]]


def subsets(table: pd.DataFrame, by: Sequence[str]) -> Iterator[tuple[str, np.ndarray]]:
    """`all`, then each `column=level` that occurs, with its rows (shape (n,), true/false)."""
    yield "all", np.ones(len(table), bool)
    for column in by:
        levels = as_levels(table[column])
        for level in levels_present(levels):
            yield f"{column}={level}", np.asarray(levels == level)
