"""What the schemas ask of a cell and of a row, as formulas of a spreadsheet, so that a workbook judges as `check` does.

    formula('approach == "guided" and role != "gauge"', {"approach": "$C2", "role": "$B2"})
    'AND($C2="guided",$B2<>"gauge")'

Formulas have English names, decimal points and commas between arguments, as a workbook stores them in every language
(ISO/IEC 29500-1, 18.17). They are written for row 2, the first below the header; a workbook moves them to the others.
A spreadsheet compares texts without regard to letter case, as the reading of levels does.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Mapping

from openpyxl.utils import get_column_letter

from liftseries.intake.cells import plain
from liftseries.intake.validator import names_in
from liftseries.schema import Column, Table

FIRST, LAST = 2, 1_048_576  # rows of a sheet below its header (ISO/IEC 29500-1 leaves the number open; common practice)
SIGNS = {ast.Eq: "=", ast.NotEq: "<>", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
JOINS = {ast.And: "AND", ast.Or: "OR"}


def formula(expression: str, cells: Mapping[str, str]) -> str:
    """The expression as a formula without the leading `=`.

    Parameters
    ----------
    expression
        Comparisons of columns with constants or each other, joined by and, or, not.
    cells : column -> what stands for it in the formula, mostly a cell

    Raises
    ------
    ValueError
        The expression holds something else: a fault of the schema.
    """
    return _written(ast.parse(expression, mode="eval").body, cells)


def address(table: Table, column: str, row: int | str = FIRST) -> str:
    """`$C2`: the column's cell in a row of the table's sheet; fixed altogether where the row is one like `$2`."""
    return f"${get_column_letter(list(table.columns).index(column) + 1)}{row}"


def whole_column(table: Table, column: str) -> str:
    """`patients!$A$2:$A$1048576`: all cells below the header."""
    return f"{table.name}!{address(table, column, f'${FIRST}')}:{address(table, column, f'${LAST}')}"


def is_valid(table: Table, column: Column, levels: str = "", parent: str = "") -> str:
    """True where a filled cell may stand in the column by itself; empty where every text may.

    Parameters
    ----------
    table, column
    levels : a range of cells that holds the column's levels
    parent : a range of cells that holds the keys it may refer to
    """
    cell = address(table, column.name)
    if levels:
        return f"SUMPRODUCT(--({levels}={cell}))>0"
    if parent:
        return f"ISNUMBER(MATCH({cell},{parent},0))"
    if column.type not in ("integer", "number"):
        return ""
    tests = [f"ISNUMBER({cell})"]
    if column.type == "integer":
        tests.append(f"{cell}=INT({cell})")
    bounds = ((">", column.above), (">=", column.at_least), ("<=", column.at_most))
    tests += [f"{cell}{sign}{plain(bound)}" for sign, bound in bounds if bound is not None]
    return _all(tests)


def is_repeated(table: Table) -> str:
    """True in a row whose key stands in a row above it."""
    alike = [
        f"EXACT({address(table, name, '$1')}:{address(table, name, 1)},{address(table, name)})" for name in table.key
    ]
    return _all([*(_is_filled(address(table, name)) for name in table.key), f"SUMPRODUCT(1*{'*'.join(alike)})>0"])


def is_needed(table: Table, column: Column) -> str:
    """True in a row that is begun and needs a value in the column; empty where the column is optional."""
    if not (column.required or column.needed_when):
        return ""
    first, *_, last = table.columns
    begun = f"COUNTA({address(table, first)}:{address(table, last)})>0"
    return _all([begun, *_known_to_hold(table, column.needed_when)])


def is_not_allowed(table: Table, column: Column) -> str:
    """True in a row that must leave the column empty; empty where every row may fill it."""
    if not column.allowed_when:
        return ""
    return _all(_known_to_hold(table, column.allowed_when, holds=False))


def breaks_a_rule(table: Table, column: Column) -> list[str]:
    """True in a row whose cells contradict each other in a way that the column is part of; one formula a rule."""
    rules = [rule for rule in table.rules if column.name in (rule.column, *rule.reads)]
    return [_all(_known_to_hold(table, rule.holds, holds=False)) for rule in rules]


def _known_to_hold(table: Table, expression: str, holds: bool = True) -> list[str]:
    """Tests that all hold where the expression does, or does not, and every cell that it reads is known."""
    if not expression:
        return []
    columns = [table.columns[name] for name in names_in(expression)]
    cells = {column.name: address(table, column.name) for column in columns}
    known = [_is_filled(cells[column.name]) for column in columns if not column.when_empty]
    stands_for = {
        column.name: f'IF({cells[column.name]}="",{_quoted(column.when_empty)},{cells[column.name]})'
        for column in columns
        if column.when_empty
    }
    told = formula(expression, cells | stands_for)
    return [*known, told if holds else f"NOT({told})"]


def _is_filled(cell: str) -> str:
    return f'{cell}<>""'


def _all(tests: Iterable[str]) -> str:
    tests = list(tests)
    return tests[0] if len(tests) == 1 else f"AND({','.join(tests)})"


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _written(node: ast.expr, cells: Mapping[str, str]) -> str:
    match node:
        case ast.BoolOp(op, values):
            return f"{JOINS[type(op)]}({','.join(_written(value, cells) for value in values)})"
        case ast.UnaryOp(ast.Not(), operand):
            return f"NOT({_written(operand, cells)})"
        case ast.Compare(left, [sign], [right]) if type(sign) in SIGNS:
            return f"{_written(left, cells)}{SIGNS[type(sign)]}{_written(right, cells)}"
        case ast.Name(name):
            return cells[name]
        case ast.Constant(bool()):
            pass
        case ast.Constant(str() as text):
            return _quoted(text)
        case ast.Constant(int() | float() as number):
            return plain(number)
    raise ValueError(f"no formula can be made of: {ast.unparse(node)}")
