"""Missing values filled in several times over, each variable from all the others in turn (chained equations).

What belongs to a patient is imputed once a patient, from the patient's sites taken together; what belongs to a site
from the patient and the site. The outcome helps to impute, and is never imputed itself.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes, cluster_sums
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.levels import as_levels, is_number, levels_present

DONORS = 5
PRIOR_SD = 2.5  # of a log odds per standard deviation: so weak that only a separated level feels it
LEVEL = 2.0  # what a level counts among the predictors
NO_SPREAD = 1e-9  # variance below which a direction is rounding
TIE = 1e-9  # predictions that differ by less, relatively, are the same
MOST_FITTED = 10_000  # units that a model is fitted to: a larger series gives each draw so many of its own
NOWHERE_KNOWN = "left out: known nowhere"
MODEL_COLUMNS = ("variable", "level_of", "n_missing", "model", "predictors")


@dataclass(frozen=True)
class Variable:
    """A column in the chain.

    Attributes
    ----------
    name
    of_patient : whether it has one value a patient
    labels : its levels, None for a number
    value : shape (n_units,), a number or a level's position; missing ones hold no meaning
    known : shape (n_units,), true/false
    """

    name: str
    of_patient: bool
    labels: tuple[str, ...] | None
    value: np.ndarray
    known: np.ndarray

    @property
    def n_missing(self) -> int:
        return int((~self.known).sum())

    @property
    def model(self) -> str:
        """How it is imputed, in words."""
        if self.labels is None:
            return f"predictive mean matching, {DONORS} donors"
        return "logistic" if len(self.labels) == 2 else "successive logistic"


@dataclass(frozen=True)
class Chain:
    """Everything that the chained equations run on.

    Attributes
    ----------
    table : one row a site
    variables : in the order in which they are visited
    outcome : shape (n, q), true/false as 0 and LEVEL, numbers in standard deviations
    patient : shape (n,), from 0
    first_site : shape (n_patients,), a row of each patient
    nowhere_known : columns that were to help and cannot
    """

    table: pd.DataFrame
    variables: tuple[Variable, ...]
    outcome: np.ndarray
    patient: np.ndarray
    first_site: np.ndarray
    nowhere_known: tuple[Variable, ...]

    def models(self) -> pd.DataFrame:
        """What is imputed, how, and from what; columns MODEL_COLUMNS."""
        rows = [
            (
                variable.name,
                "patient" if variable.of_patient else "site",
                variable.n_missing,
                variable.model,
                " ".join(
                    [
                        *(other.name for other in self.variables if other is not variable),
                        *(["n_sites"] if variable.of_patient else []),
                        "outcome",
                    ]
                ),
            )
            for variable in self.variables
            if variable.n_missing
        ]
        rows += [
            (variable.name, "patient" if variable.of_patient else "site", variable.n_missing, NOWHERE_KNOWN, "none")
            for variable in self.nowhere_known
        ]
        return pd.DataFrame(rows, columns=list(MODEL_COLUMNS))


def chain_of(
    table: pd.DataFrame,
    targets: Sequence[str],
    auxiliary: Sequence[str],
    outcome: Mapping[str, np.ndarray],
    patient_columns: Sequence[str],
) -> Chain:
    """Set up the chained equations.

    Parameters
    ----------
    table : one row a site that the analysis uses
    targets : columns that the analysis needs; their missing values are to be filled in
    auxiliary : columns that help; one without any known value is left out
    outcome : name -> shape (n,), without a missing value
    patient_columns : columns that have one value a patient

    Raises
    ------
    NotFitted
        A target is not there, or nowhere known.
    """
    codes, n_patients = cluster_codes(table["patient_id"])
    first_site = np.zeros(n_patients, int)
    first_site[codes[::-1]] = np.arange(len(codes))[::-1]
    variables, nowhere_known = [], []
    for name in dict.fromkeys([*targets, *auxiliary]):
        if name not in table:
            if name in targets:
                raise NotFitted(remark("imputed_column_absent", column=name))
            continue
        of_patient = name in patient_columns
        variable = _variable(table[name].iloc[first_site] if of_patient else table[name], name, of_patient)
        if not variable.known.any():
            if name in targets:
                raise NotFitted(remark("known_nowhere", column=name))
            nowhere_known.append(variable)
            continue
        variables.append(variable)
    variables.sort(key=lambda variable: variable.n_missing)
    columns = [
        LEVEL * column if column.dtype == bool else column / (column.std() or 1.0) for column in outcome.values()
    ]
    return Chain(table, tuple(variables), np.column_stack(columns), codes, first_site, tuple(nowhere_known))


def _variable(column: pd.Series, name: str, of_patient: bool) -> Variable:
    if is_number(column):
        value = column.to_numpy(float, na_value=np.nan)
        return Variable(name, of_patient, None, np.nan_to_num(value), np.isfinite(value))
    levels = as_levels(column)
    labels = levels_present(levels)
    codes = pd.Categorical(np.asarray(levels.astype(object)), categories=labels).codes
    return Variable(name, of_patient, tuple(labels), codes.astype(float), codes >= 0)


def completed_sets(chain: Chain, seed: int, topic: int, first: int, n: int, iterations: int) -> Iterator[pd.DataFrame]:
    """Completed tables, from set number `first` on.

    Parameters
    ----------
    chain : as `chain_of` gives it
    seed, topic : of the study and of the analysis; with a set's number they fix its random numbers
    first, n : the number of the first set, and how many
    iterations : rounds through all variables before a set is taken

    Yields
    ------
    `table` with its variables' missing values filled in; labels as categoricals of text

    Source: van Buuren 2007, doi:10.1177/0962280206074463; predictive mean matching: Little 1988,
    doi:10.2307/1391878; a weak normal prior keeps separated levels finite, as in Gelman and others 2008,
    doi:10.1214/08-AOAS191.
    """
    for number in range(first, first + n):
        rng = np.random.default_rng([seed, topic, number])
        values = [_start(variable, rng) for variable in chain.variables]
        for _ in range(iterations):
            for k, variable in enumerate(chain.variables):
                if variable.n_missing:
                    values[k] = _drawn(variable, _predictors(chain, values, k), rng)
        yield _completed(chain, values)


def starting_set(chain: Chain) -> pd.DataFrame:
    """`table` with missing values drawn from the known ones: enough to tell which columns a model of it will have."""
    return next(completed_sets(chain, seed=0, topic=0, first=0, n=1, iterations=0))


def _start(variable: Variable, rng: np.random.Generator) -> np.ndarray:
    """Missing values drawn from the known ones."""
    value = variable.value.copy()
    value[~variable.known] = rng.choice(variable.value[variable.known], variable.n_missing)
    return value


def _columns(variable: Variable, value: np.ndarray) -> np.ndarray:
    """A number in standard deviations, a category as one column a level but the first; shape (n_units, q).

    A level counts 2, so that at half and half its column has standard deviation 1 too. One that is rare is not blown
    up to it: the prior would then let its log odds run off.
    """
    if variable.labels is None:
        return (value / (variable.value[variable.known].std() or 1.0))[:, None]
    return LEVEL * (value[:, None] == np.arange(1, len(variable.labels)))


def _predictors(chain: Chain, values: list[np.ndarray], k: int) -> np.ndarray:
    """What variable k is imputed from, at its own units; shape (n_units, q)."""
    target = chain.variables[k]
    n_patients = len(chain.first_site)
    size = np.bincount(chain.patient, minlength=n_patients)[:, None]

    def patient_means(columns: np.ndarray) -> np.ndarray:
        return cluster_sums(chain.patient, n_patients, columns) / size

    others = [
        (other.of_patient, _columns(other, value))
        for other, value in zip(chain.variables, values, strict=True)
        if other is not target
    ]
    of_patients = [columns for of_patient, columns in others if of_patient]
    of_sites = [chain.outcome, *(columns for of_patient, columns in others if not of_patient)]
    if target.of_patient:
        # Each site's outcome tells of its patient anew, so that what the mean tells grows with the number of sites: by
        # means alone the effect of what is imputed comes out too small.
        sums = cluster_sums(chain.patient, n_patients, chain.outcome) / size.mean()
        return np.column_stack([*of_patients, patient_means(np.column_stack(of_sites)), sums, size / size.mean()])
    own = _columns(target, values[k])
    if own.shape[1]:
        # The same measure at the patient's other sites; at a lone site, the mean of all.
        rest = (size * patient_means(own))[chain.patient] - own
        n_rest = (size - 1)[chain.patient]
        of_sites.append(np.where(n_rest > 0, rest / np.maximum(n_rest, 1), own.mean(axis=0)))
    return np.column_stack([*of_sites, *(columns[chain.patient] for columns in of_patients)])


def _drawn(variable: Variable, x: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The variable with its missing values drawn anew."""
    value, known = variable.value.copy(), variable.known
    fitted_to = _some(known, rng)
    if variable.labels is None:
        value[~known] = _matched(*_directions(x[fitted_to], x[~known]), value[fitted_to], rng)
        return value
    # One level after the other against all later ones; what no level took gets the last.
    drawn = np.full(variable.n_missing, len(variable.labels) - 1.0)
    undecided = np.ones(variable.n_missing, bool)
    for level in range(len(variable.labels) - 1):
        among = fitted_to & (value >= level)
        x_among, x_missing = _directions(x[among], x[~known])
        beta = _logistic_draw(x_among, value[among] == level, rng)
        takes = undecided & (rng.random(variable.n_missing) < expit(x_missing @ beta))
        drawn[takes] = level
        undecided &= ~takes
    value[~known] = drawn
    return value


def _some(known: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The units that a model is fitted to: the known ones, or MOST_FITTED of them drawn anew each time.

    What is drawn from fewer units is as right and a little less certain, which the spread between the sets tells.
    """
    if known.sum() <= MOST_FITTED:
        return known
    some = np.zeros(len(known), bool)
    some[rng.choice(np.flatnonzero(known), MOST_FITTED, replace=False)] = True
    return some


def _directions(x: np.ndarray, x_missing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A constant, and the directions in which units with a known value differ, at them and at the missing ones.

    What does not vary among the known (a centre that never recorded the variable) tells nothing of it: a coefficient
    drawn for it would send all the missing ones anywhere, together.
    """
    centre = x.mean(axis=0)
    variances, directions = np.linalg.eigh(np.cov(x - centre, rowvar=False, bias=True).reshape(2 * x.shape[1:]))
    kept = directions[:, variances > NO_SPREAD]
    return tuple(np.column_stack([np.ones(len(at)), (at - centre) @ kept]) for at in (x, x_missing))


def _prior_precision(p: int) -> np.ndarray:
    """Of p coefficients, the constant first, which is freer."""
    return np.diag(np.r_[1 / (4 * PRIOR_SD) ** 2, np.full(p - 1, 1 / PRIOR_SD**2)])


def _matched(x: np.ndarray, x_missing: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Values of donors whose prediction lies near that of each missing one.

    The prior, in residual standard deviations, is felt only where there are about as many predictors as known values.
    """
    n, p = x.shape
    squares = x.T @ x
    covariance = np.linalg.inv(squares + _prior_precision(p))
    beta = covariance @ (x.T @ (y - y.mean()))
    df = max(n - np.trace(covariance @ squares), 1.0)
    sigma = np.sqrt(((y - y.mean() - x @ beta) ** 2).sum() / rng.chisquare(df))
    drawn = beta + sigma * np.linalg.cholesky((covariance + covariance.T) / 2) @ rng.standard_normal(p)
    return y[_donors(x @ beta, x_missing @ drawn, rng)]


def _donors(predicted: np.ndarray, wanted: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """For each wanted prediction one of the DONORS with the nearest, or of those as near as the last of them.

    Predictors that are all categories give many units the same prediction; each must be able to become a donor.
    """
    order = np.argsort(predicted)
    predicted = predicted[order]
    n, n_donors = len(predicted), min(DONORS, len(predicted))
    width = min(2 * DONORS, n)
    start = np.clip(np.searchsorted(predicted, wanted) - DONORS, 0, n - width)
    distance = np.abs(predicted[start[:, None] + np.arange(width)] - wanted[:, None])
    reach = np.partition(distance, n_donors - 1, axis=1)[:, n_donors - 1]
    reach = reach + TIE * (np.abs(wanted) + reach)
    low = np.searchsorted(predicted, wanted - reach, side="left")
    high = np.searchsorted(predicted, wanted + reach, side="right")
    return order[low + (rng.random(len(wanted)) * (high - low)).astype(int)]


def _logistic_draw(x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Coefficients drawn from their approximate posterior under the weak prior."""
    y = y.astype(float)
    p = x.shape[1]
    precision = _prior_precision(p)
    beta = np.zeros(p)
    for _ in range(50):
        pi = expit(x @ beta)
        information = (x * (pi * (1 - pi))[:, None]).T @ x + precision
        step = np.linalg.solve(information, x.T @ (y - pi) - precision @ beta)
        beta = beta + step / max(1.0, np.abs(step).max() / 2)
        if np.abs(step).max() < 1e-8:
            break
    covariance = np.linalg.inv(information)
    return beta + np.linalg.cholesky((covariance + covariance.T) / 2) @ rng.standard_normal(p)


def _completed(chain: Chain, values: list[np.ndarray]) -> pd.DataFrame:
    filled = {}
    for variable, value in zip(chain.variables, values, strict=True):
        at_sites = value[chain.patient] if variable.of_patient else value
        if variable.labels is None:
            filled[variable.name] = at_sites
        else:
            declared = [str(level) for level in as_levels(chain.table[variable.name]).categories]
            labels = np.array(variable.labels, object)[at_sites.astype(int)]
            filled[variable.name] = pd.Categorical(labels, categories=declared)
    return chain.table.assign(**filled)
