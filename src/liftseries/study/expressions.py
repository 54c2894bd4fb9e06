"""Expressions of the schemas, such as `approach == 'guided'`: which columns they read, and where they hold."""

from __future__ import annotations

import ast
from collections.abc import Callable
from functools import cache, reduce
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd


@cache
def names_in(expression: str) -> tuple[str, ...]:
    """The columns that an expression reads, in its order."""
    names = [node for node in ast.walk(ast.parse(expression, mode="eval")) if isinstance(node, ast.Name)]
    return tuple(dict.fromkeys(node.id for node in sorted(names, key=lambda node: node.col_offset)))


@cache
def null_safe(expression: str, where_unknown: bool = True) -> Callable[[pd.DataFrame], pd.Series]:
    """The expression over a table's rows; `where_unknown` where a cell that it reads is missing.

    `and`, `or`, `not` and chains of comparisons are taken element by element, as `pandas.DataFrame.eval` does, which
    takes milliseconds to read an expression.
    """
    import numpy as np
    import pandas as pd

    names = names_in(expression)
    tree = ast.fix_missing_locations(_ElementByElement().visit(ast.parse(expression, mode="eval")))
    code = compile(tree, expression, "eval")

    def holds(table: pd.DataFrame) -> pd.Series:
        known = np.logical_and.reduce([table[name].notna().to_numpy() for name in names])
        result = np.full(len(table), where_unknown)
        cells = {name: as_array(table[name])[known] for name in names}
        result[known] = eval(code, {"__builtins__": {}}, cells)
        return pd.Series(result, index=table.index)

    return holds


def as_array(column: pd.Series) -> np.ndarray:
    """Numbers as such; all else as objects: levels of a category can't be compared with words that are none of them."""
    import numpy as np
    from pandas.api.types import is_bool_dtype, is_numeric_dtype

    if is_numeric_dtype(column.dtype) and not is_bool_dtype(column.dtype):
        return column.to_numpy(float, na_value=np.nan)
    return column.to_numpy(object)


class _ElementByElement(ast.NodeTransformer):
    """`and` as `&`, `or` as `|`, `not` as `~`, `a < b < c` as `(a < b) & (b < c)`: what holds of each row of arrays."""

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.expr:
        self.generic_visit(node)
        return _joined(ast.BitAnd() if isinstance(node.op, ast.And) else ast.BitOr(), node.values)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.expr:
        self.generic_visit(node)
        return ast.UnaryOp(ast.Invert(), node.operand) if isinstance(node.op, ast.Not) else node

    def visit_Compare(self, node: ast.Compare) -> ast.expr:
        self.generic_visit(node)
        sides = zip([node.left, *node.comparators], node.ops, node.comparators, strict=False)
        return _joined(ast.BitAnd(), [ast.Compare(left, [sign], [right]) for left, sign, right in sides])


def _joined(sign: ast.operator, parts: list[ast.expr]) -> ast.expr:
    return reduce(lambda left, right: ast.BinOp(left, sign, right), parts)
