"""Design matrix: from the plan's terms to the columns of a model, on complete cases.

A number stands as it is, a category as one column a level against its reference (`approach[guided]`),
true/false as `column[true]`; the constant is `(intercept)`. `unknown` is missing. What cannot stand in the
model (a term that does not vary, a column that follows from those before it) is named with the reason
instead of being dropped unsaid.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.shared.levels import as_levels, is_number, levels_present
from liftseries.study.schema import columns_by_name

INTERCEPT = "(intercept)"
ALIASED = 1e-7  # of a column's length not explained by the columns before it; R's lm draws the same line


@dataclass(frozen=True)
class Design:
    """A model's columns and the rows they stand on.

    Attributes
    ----------
    matrix : shape (n_used, n_names)
    names : the terms, one a column of `matrix`
    used : shape (n_rows,), true/false
        Which rows of the table are complete.
    reasons : shape (n_rows,), text
        Why a row is not used: its first term that is missing; "" where it is used.
    factors : column → its levels on the used rows, for the columns in the model that have levels
    problems : term → why it is not in the model
    notes : remarks for a reader of its rows, e.g. that a reference level is not among the complete cases
    """

    matrix: np.ndarray
    names: tuple[str, ...]
    used: np.ndarray
    reasons: np.ndarray
    factors: dict[str, pd.Categorical]
    problems: dict[str, str]
    notes: tuple[str, ...]

    def terms(self) -> list[str]:
        """All rows that a model on this design owes its reader: its columns, then what cannot stand in it."""
        return [*self.names, *self.problems]


def design_matrix(table: pd.DataFrame, terms: Sequence[str], intercept: bool = True) -> Design:
    """Build the columns of a model from the complete cases of its terms.

    Parameters
    ----------
    table : one row an observation
    terms : columns of `table`
    intercept : whether the model has a constant; columns are judged against one in either case

    Returns
    -------
    Design
        With no complete case `matrix` has no row and every term is among `problems`.
    """
    terms = list(dict.fromkeys(terms))
    problems = {term: remark("column_absent") for term in terms if term not in table}
    terms = [term for term in terms if term in table]
    values = {term: table[term] if is_number(table[term]) else as_levels(table[term]) for term in terms}
    reasons = first_missing(values, len(table))
    used = reasons == ""
    n_used = int(used.sum())

    columns: dict[str, np.ndarray] = {}
    factors: dict[str, pd.Categorical] = {}
    notes: list[str] = []
    for term in terms:
        term_columns, note = columns_of(term, values[term], used)
        if n_used == 0:
            problems[term] = remark("no_complete_case")
        elif not term_columns:
            problems[term] = remark("term_does_not_vary", term=term)
        columns |= term_columns
        notes += [note] if note else []
        if isinstance(values[term], pd.Categorical) and term_columns:
            factors[term] = values[term][used]

    kept, aliased = independent_columns(columns, n_used)
    problems |= aliased
    factors = {term: levels for term, levels in factors.items() if any(n.startswith(f"{term}[") for n in kept)}
    names = ([INTERCEPT] if intercept else []) + kept
    matrix = [np.ones(n_used)] * intercept + [columns[name] for name in kept]
    return Design(
        matrix=np.column_stack(matrix) if matrix else np.empty((n_used, 0)),
        names=tuple(names),
        used=used,
        reasons=reasons,
        factors=factors,
        problems=problems,
        notes=tuple(notes),
    )


def first_missing(values: dict[str, pd.Series | pd.Categorical], n_rows: int) -> np.ndarray:
    """Why a row is no complete case: `smoking unknown` for labels, `floor_slope_deg missing` for numbers."""
    reasons = np.full(n_rows, "", object)
    for term, value in values.items():
        labels = isinstance(value, pd.Categorical)
        missing = value.codes < 0 if labels else ~np.isfinite(value.to_numpy(float, na_value=np.nan))
        reasons[missing & (reasons == "")] = remark("label_unknown" if labels else "number_missing", column=term)
    return reasons


def count_reasons(reasons: np.ndarray) -> list[tuple[str, int]]:
    """How often each reason for leaving a row out occurs, in the order in which they first do."""
    counts = pd.Series(reasons[reasons != ""], dtype=object).value_counts(sort=False)
    return [(str(reason), int(n)) for reason, n in counts.items()]


def columns_of(term: str, value: pd.Series | pd.Categorical, used: np.ndarray) -> tuple[dict, str]:
    """A term's columns on the rows used, none if it does not vary there, and a note on its reference."""
    if not isinstance(value, pd.Categorical):
        number = value.to_numpy(float, na_value=np.nan)[used]
        return ({term: number} if len(number) and np.ptp(number) > 0 else {}), ""
    levels = value[used]
    present = levels_present(levels)
    if len(present) < 2:
        return {}, ""
    reference = reference_level(term, value)
    note = ""
    if reference not in present:
        note = remark("reference_absent", column=term, level=present[0], reference=reference)
        reference = present[0]
    return {f"{term}[{level}]": np.asarray(levels == level, float) for level in present if level != reference}, note


def reference_level(term: str, levels: pd.Categorical) -> str:
    """The level others are compared with: the one the schema names, else the first listed."""
    return _reference_levels().get(term) or str(levels.categories[0])


@cache
def _reference_levels() -> dict[str, str]:
    """Of the categories; a whole number with levels, such as a tooth, is a number to a model."""
    return {name: column.reference_level for name, column in columns_by_name().items() if column.type == "category"}


def reference_among(column: str, levels: pd.Categorical) -> str:
    """The level that the others are compared with where there is no model: the reference, or the first that occurs."""
    present, named = levels_present(levels), reference_level(column, levels)
    return named if named in present else present[0]


def independent_columns(columns: dict[str, np.ndarray], n_rows: int) -> tuple[list[str], dict[str, str]]:
    """Split columns into those a model can tell apart and those that follow from columns before them.

    Gram-Schmidt in the order of the terms, starting from the constant, so that the later column is the one
    left out.
    """
    basis = np.ones((n_rows, 1)) / np.sqrt(max(n_rows, 1))
    kept: list[str] = []
    aliased: dict[str, str] = {}
    for name, column in columns.items():
        rest = column / np.linalg.norm(column)
        for _ in range(2):  # twice is enough (Parlett's rule): the first pass leaves rounding error behind
            rest = rest - basis @ (basis.T @ rest)
        if np.linalg.norm(rest) > ALIASED:
            kept.append(name)
            basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
        else:
            aliased[name] = remark("term_follows", term=name)
    return kept, aliased
