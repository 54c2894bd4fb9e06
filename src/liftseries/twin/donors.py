"""Drawing one column at a time from real rows like the one that is being made up.

    donors   the real rows nearest in some columns that are there already; one of them is drawn for each new row
    value    the donor's; a measurement is moved by how the new row differs from its donor (least squares) and
             blurred, so that it is nobody's

Each column has donors of its own, so no row is a copy; what goes with what is kept as far as the named columns carry
it. The idea is that of fully sequential synthesis (Reiter 2005, Using CART to generate partially synthetic public use
microdata; from memory), with nearest neighbours instead of trees.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit, log_expit

from liftseries.study.schema import Column
from liftseries.twin.neighbours import Rows, joined, nearest, rows_by

N_DONORS = 20
TIE_BREAK = 0.05  # standard deviation of the chance that parts rows which are equally near
BLUR = 0.15  # standard deviations of a column that its measurements are blurred by
SETTING = 0.05  # a value that this share of rows holds is a setting, such as an implant's length or no graft at all
FEW_VALUES = 15  # and so is every value of a column that has no more than these
STEPS = (10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01, 0.001)  # to which measurements are read
RIDGE = 1.0  # penalty of a standardised log odds ratio: keeps them finite where events are few

Near = Mapping[str, float] | Sequence[str]


def draw_donors(
    real: pd.DataFrame,
    new: pd.DataFrame,
    rng: np.random.Generator,
    near: Near = (),
    within: Sequence[str] = (),
    n_donors: int = N_DONORS,
    usable: np.ndarray | None = None,
) -> np.ndarray:
    """A real row for each new one.

    Parameters
    ----------
    real, new
        Hold the columns named; a missing value is like a missing value.
    near
        Columns in which a donor should be like the new row, with weights where they are not all 1.
    within
        Columns in which it has to be equal, the most important first: where nobody is, the last one is given up.
    usable : shape (n_real,), true or false
        Which real rows may be donors; not all false.

    Returns
    -------
    shape (n_new,), row numbers in `real`
    """
    donors = np.full(len(new), -1)
    usable = np.ones(len(real), bool) if usable is None else usable
    of_real, of_new, weights = _apart(real, new, near, rng)
    for n_within in range(len(within), -1, -1):
        if (donors >= 0).all():
            break
        group_real, group_new = _groups(real, new, within[:n_within])
        n_groups = max(group_real.max(initial=0), group_new.max(initial=0)) + 1
        rows_real = rows_by(np.where(usable, group_real, -1), n_groups)
        for rows, wanted in zip(rows_real, rows_by(np.where(donors < 0, group_new, -1), n_groups), strict=True):
            if rows.size and wanted.size:
                n = min(n_donors, rows.size)
                near_by = nearest(of_real[rows], of_new[wanted], weights, n)
                donors[wanted] = rows[near_by[np.arange(wanted.size), rng.integers(0, n, wanted.size)]]
    return donors


def _apart(
    real: pd.DataFrame, new: pd.DataFrame, near: Near, rng: np.random.Generator
) -> tuple[Rows, Rows, np.ndarray]:
    """What rows are compared in: numbers, one of them chance, and levels; and what each level weighs."""
    numbers, levels, weights = [], [np.zeros((len(real) + len(new), 0), int)], []
    for name, weight in _weighted(near).items():
        if _is_number(real[name]):
            numbers.append(weight * scaled(real[name], new[name]))
        else:
            levels.append(_coded(real[name], new[name]))
            weights.append(weight)
    numbers.append(np.concatenate([rng.normal(0, TIE_BREAK, len(table)) for table in (real, new)]))
    both = Rows(np.column_stack(numbers), np.column_stack(levels))
    rows = np.arange(len(both))
    return both[rows[: len(real)]], both[rows[len(real) :]], np.array(weights)


def _weighted(near: Near) -> Mapping[str, float]:
    return near if isinstance(near, Mapping) else dict.fromkeys(near, 1.0)


def _is_number(column: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)


def scaled(real: pd.Series, new: pd.Series) -> np.ndarray:
    """Numbers in standard deviations of the real ones, and where they are missing; shape (n_real + n_new, 2)."""
    numbers = np.concatenate([column.to_numpy(dtype=float, na_value=np.nan) for column in (real, new)])
    missing = np.isnan(numbers)
    known = numbers[: len(real)][~missing[: len(real)]]
    centre, spread = (known.mean(), known.std()) if known.size else (0.0, 0.0)
    return np.column_stack([np.nan_to_num((numbers - centre) / (spread or 1.0)), missing])


def encoded(real: pd.DataFrame, new: pd.DataFrame, near: Near) -> tuple[np.ndarray, np.ndarray]:
    """The columns as numbers: standardised, or one column a level; one more where values are missing."""
    parts = [np.zeros((len(real) + len(new), 0))]
    for name, weight in _weighted(near).items():
        if _is_number(real[name]):
            parts.append(weight * scaled(real[name], new[name]))
        else:
            levels = pd.Categorical(stacked(real[name], new[name]))
            parts.append(weight * np.eye(len(levels.categories) + 1)[levels.codes] / np.sqrt(2))
    matrix = np.column_stack(parts)
    return matrix[: len(real)], matrix[len(real) :]


def stacked(real: pd.Series, new: pd.Series) -> np.ndarray:
    """The values of both as objects, one column under the other; shape (n_real + n_new,)."""
    return np.concatenate([real.to_numpy(object), new.to_numpy(object)])


def _coded(real: pd.Series, new: pd.Series) -> np.ndarray:
    """A whole number from 0 for each level of either, a missing one among them; shape (n_real + n_new,)."""
    if isinstance(real.dtype, pd.CategoricalDtype) and real.dtype == new.dtype:
        return pd.factorize(np.concatenate([column.cat.codes for column in (real, new)]))[0]
    return pd.factorize(stacked(real, new), use_na_sentinel=False)[0]


def _groups(real: pd.DataFrame, new: pd.DataFrame, within: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    codes = [_coded(real[name], new[name]) for name in within]
    group = joined(np.column_stack([np.zeros(len(real) + len(new), int), *codes]))
    return group[: len(real)], group[len(real) :]


def draw_column(
    real: pd.DataFrame,
    new: pd.DataFrame,
    column: Column,
    rng: np.random.Generator,
    near: Near = (),
    within: Sequence[str] = (),
    hidden: np.ndarray | None = None,
    n_donors: int = N_DONORS,
) -> pd.Series:
    """The values of a column for new rows, missing ones as often as among the donors.

    Parameters
    ----------
    hidden : shape (n_new,), true or false
        Where the value is missing, when that is settled already; all others then get one, if any real row has one.
    """
    values = real[column.name].reset_index(drop=True)
    usable = values.notna().to_numpy() if hidden is not None and values.notna().any() else None
    donors = draw_donors(real, new, rng, near, within, n_donors, usable)
    drawn = values.iloc[donors].reset_index(drop=True)
    if is_measurement(column, values):
        moved = _moved(values.to_numpy(dtype=float, na_value=np.nan), donors, *encoded(real, new, near), rng)
        drawn = pd.Series(pd.array(moved, "Float64")).astype(values.dtype)
    return drawn if hidden is None else drawn.mask(hidden)


def is_measurement(column: Column, values: pd.Series) -> bool:
    """Whether a number may be moved and blurred, rather than chosen from the few that there are."""
    if column.type not in ("number", "integer") or column.levels:
        return False
    n_values = values.nunique()
    return n_values > FEW_VALUES or n_values > values.count() / 3


def _moved(
    values: np.ndarray, donors: np.ndarray, of_real: np.ndarray, of_new: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Measurements of the donors, moved and blurred; settings as they are; within what was ever measured."""
    known = ~np.isnan(values)
    drawn = values[donors]
    if not known.any():
        return drawn
    held, often = np.unique(values[known], return_counts=True)
    settings = held[often >= max(SETTING * known.sum(), 2)]
    slopes = _slopes(of_real[known], values[known])
    step = resolution(values[known])
    blur = np.maximum(BLUR * values[known].std(), step)
    moved = drawn + (of_new - of_real[donors]) @ slopes + rng.normal(0, blur, drawn.size)
    moved = np.round(np.round(moved / step) * step, 6)
    return np.where(np.isin(drawn, settings), drawn, moved.clip(held[0], held[-1]))


def _slopes(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Least squares on centred columns, a little pulled to zero so that no column has to be told from another."""
    x, y = x - x.mean(axis=0), y - y.mean()
    return np.linalg.solve(x.T @ x + RIDGE * np.eye(x.shape[1]), x.T @ y)


def resolution(values: np.ndarray) -> float:
    """The largest of `STEPS` that all values are multiples of; the smallest where there is none."""
    for step in STEPS:
        if np.allclose(values / step, np.round(values / step), atol=1e-6):
            return step
    return STEPS[-1]


def event_chance(real: pd.DataFrame, new: pd.DataFrame, event: np.ndarray, near: Near) -> np.ndarray:
    """Chance of an event for each new row: a logistic model of the real ones, its slopes pulled to zero.

    Parameters
    ----------
    event : shape (n_real,), true or false

    Returns
    -------
    shape (n_new,); the mean over the real rows would be the share that had it
    """
    of_real, of_new = encoded(real, new, near)
    x, y = np.column_stack([np.ones(len(real)), of_real]), event.astype(float)
    if not y.size or y.min() == y.max():
        return np.full(len(new), y.mean() if y.size else 0.0)
    pulled = np.append(0.0, np.full(of_real.shape[1], RIDGE))

    def loss(beta: np.ndarray) -> tuple[float, np.ndarray]:
        eta = x @ beta
        value = -(y * eta + log_expit(-eta)).sum() + (pulled * beta**2).sum() / 2
        return value, x.T @ (expit(eta) - y) + pulled * beta

    start = np.zeros(x.shape[1])
    start[0] = np.log(y.mean() / (1 - y.mean()))
    beta = minimize(loss, start, jac=True, method="L-BFGS-B").x
    return expit(np.column_stack([np.ones(len(new)), of_new]) @ beta)
