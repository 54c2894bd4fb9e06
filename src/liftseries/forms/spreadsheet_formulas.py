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
from dataclasses import dataclass

from openpyxl.utils import get_column_letter

from liftseries.base.numbers import plain
from liftseries.study.expressions import names_in
from liftseries.study.schema import Column, Table

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


@dataclass(frozen=True)
class Formulas:
    """The formulas of one table's sheet; an empty one where nothing is asked."""

    table: Table
    levels: Mapping[str, str]  # column -> the range of cells that holds its levels
    parents: Mapping[str, str]  # column -> the range of cells that holds the keys it may refer to

    def is_valid(self, column: Column) -> str:
        """True where a filled cell may stand in the column by itself."""
        cell = address(self.table, column.name)
        if column.levels:
            return f"SUMPRODUCT(--({self.levels[column.name]}={cell}))>0"
        if column.name in self.parents:
            return f"ISNUMBER(MATCH({cell},{self.parents[column.name]},0))"
        if column.type not in ("integer", "number"):
            return ""
        tests = [f"{cell}=INT({cell})"] if column.type == "integer" else []
        bounds = ((">", column.above), (">=", column.at_least), ("<=", column.at_most))
        tests += [f"{cell}{sign}{plain(bound)}" for sign, bound in bounds if bound is not None]
        # Only of a number: INT of a text is an error, and a text counts as more than every number.
        return f"IF(ISNUMBER({cell}),{_all(tests)},FALSE)" if tests else f"ISNUMBER({cell})"

    def is_repeated(self) -> str:
        """True in a row whose key stands in a row above it."""
        cells = {name: address(self.table, name) for name in self.table.key}
        alike = []
        for name, cell in cells.items():
            above = f"{address(self.table, name, '$1')}:{address(self.table, name, 1)}"
            # Texts to the letter; numbers are not EXACT to every program, and an empty cell equals 0.
            is_text = self.table.columns[name].type in ("text", "category")
            alike.append(f"EXACT({above},{cell})" if is_text else f'({above}={cell})*({above}<>"")')
        return _all([*map(_is_filled, cells.values()), f"SUMPRODUCT(1*{'*'.join(alike)})>0"])

    def is_needed(self, column: Column) -> str:
        """True in a row that is begun and needs a value in the column."""
        if not (column.required or column.needed_when):
            return ""
        first, *_, last = self.table.columns
        begun = f"COUNTA({address(self.table, first)}:{address(self.table, last)})>0"
        return _all([begun, *(self._known_to_be(column.needed_when) if column.needed_when else ())])

    def is_not_allowed(self, column: Column) -> str:
        """True in a row that must leave the column empty."""
        return _all(self._known_to_be(column.allowed_when, False)) if column.allowed_when else ""

    def does_not_apply(self, column: Column) -> str:
        """True in a row where there is nothing to record; not where that hangs on something unknown."""
        if not column.applies:
            return ""
        unknown = [
            f'{address(self.table, name)}<>"unknown"'
            for name in names_in(column.applies)
            if "unknown" in self.table.columns[name].levels
        ]
        return _all([*unknown, *self._known_to_be(column.applies, False)])

    def breaks_a_rule(self, column: Column) -> list[str]:
        """True in a row whose cells, the column's among them, contradict each other; one formula a rule."""
        rules = [rule for rule in self.table.rules if column.name in (rule.column, *rule.reads)]
        return [_all(self._known_to_be(rule.holds, False)) for rule in rules]

    def _known_to_be(self, expression: str, true: bool = True) -> list[str]:
        """Tests that all hold where the expression is as told and every cell that it reads is filled and valid."""
        known, cells = [], {}
        for name in names_in(expression):
            column, cell = self.table.columns[name], address(self.table, name)
            is_valid = self.is_valid(column) or _is_filled(cell)
            if column.when_empty:
                known.append(f'OR({cell}="",{is_valid})')
                cells[name] = f'IF({cell}="",{_quoted(column.when_empty)},{cell})'
            else:
                known.append(is_valid)
                cells[name] = cell
        told = formula(expression, cells)
        return [*known, told if true else f"NOT({told})"]


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
