"""Expressions of the schemas, such as `approach == 'guided'`: which columns they read, and where they hold."""

from __future__ import annotations

import ast
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def names_in(expression: str) -> tuple[str, ...]:
    """The columns that an expression reads, in its order."""
    names = [node for node in ast.walk(ast.parse(expression, mode="eval")) if isinstance(node, ast.Name)]
    return tuple(dict.fromkeys(node.id for node in sorted(names, key=lambda node: node.col_offset)))


def null_safe(expression: str, where_unknown: bool = True) -> Callable[[pd.DataFrame], pd.Series]:
    """The expression over a table's rows; `where_unknown` where a cell that it reads is missing."""
    import pandas as pd

    names = list(names_in(expression))

    def holds(table: pd.DataFrame) -> pd.Series:
        known = table[names].dropna()
        result = pd.Series(where_unknown, index=table.index)
        if len(known):
            # As plain values: levels of a category can't be compared with words that are none of them.
            result[known.index] = known.astype({name: object for name in known.select_dtypes("category")}).eval(
                expression
            )
        return result

    return holds
