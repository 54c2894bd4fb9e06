"""Missing values filled in several times over, each variable from all the others in turn (chained equations).

What belongs to a patient is imputed once a patient, from the patient's sites taken together; what belongs to a site
from the patient and the site. The outcome helps to impute, and is never imputed itself.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

from liftseries.base.remarks import remark
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.missing_values import drawn_numbers, drawn_odds
from liftseries.estimators.predictors import Predictors
from liftseries.models.shared.imputed_variables import LEVEL, Variable, variable_of
from liftseries.models.shared.levels import as_levels

MOST_FITTED = 10_000  # units that a model is fitted to: a larger series gives each draw so many of its own
NOWHERE_KNOWN = "left out: known nowhere"
MODEL_COLUMNS = ("variable", "level_of", "n_missing", "model", "predictors")


@dataclass(frozen=True)
class Chain:
    """Everything that the chained equations run on.

    Attributes
    ----------
    table : one row a site
    variables : in the order in which they are visited
    outcome : shape (q, n), true/false as 0 and LEVEL, numbers in standard deviations
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

    @cached_property
    def size(self) -> np.ndarray:
        """Sites of each patient, shape (n_patients,)."""
        return np.bincount(self.patient, minlength=len(self.first_site))

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
        variable = variable_of(table[name].iloc[first_site] if of_patient else table[name], name, of_patient)
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
    return Chain(table, tuple(variables), np.vstack(columns), codes, first_site, tuple(nowhere_known))


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

    Source: van Buuren 2007, doi:10.1177/0962280206074463.
    """
    for number in range(first, first + n):
        rng = np.random.default_rng([seed, topic, number])
        values = [_start(variable, rng) for variable in chain.variables]
        found: list[dict[int, np.ndarray]] = [{} for _ in values]
        for _ in range(iterations):
            for k, variable in enumerate(chain.variables):
                if variable.n_missing:
                    values[k] = _drawn(chain, values, k, rng, found[k])
        yield _completed(chain, values)


def starting_set(chain: Chain) -> pd.DataFrame:
    """`table` with missing values drawn from the known ones: enough to tell which columns a model of it will have."""
    return next(completed_sets(chain, seed=0, topic=0, first=0, n=1, iterations=0))


def _start(variable: Variable, rng: np.random.Generator) -> np.ndarray:
    """Missing values drawn from the known ones."""
    value = variable.value.copy()
    value[~variable.known] = rng.choice(variable.value[variable.known], variable.n_missing)
    return value


def _predictors(chain: Chain, values: list[np.ndarray], k: int, units: np.ndarray) -> Predictors:
    """What variable k is imputed from, at some of its own units."""
    target, size = chain.variables[k], chain.size

    def others(of_patient: bool, at: np.ndarray) -> list[np.ndarray | sparse.csc_array]:
        pairs = zip(chain.variables, values, strict=True)
        return [one.predictors(value[at]) for one, value in pairs if one is not target and one.of_patient == of_patient]

    if target.of_patient:
        place = np.full(len(size), -1)
        place[units] = np.arange(len(units))
        sites = np.flatnonzero(place[chain.patient] >= 0)
        theirs = place[chain.patient[sites]], np.arange(len(sites))
        means = sparse.csc_array((1 / size[units][theirs[0]], theirs), shape=(len(units), len(sites))).T
        of_outcome, mean_size = chain.outcome[:, sites] @ means, size.mean()
        # Each site's outcome tells of its patient anew, so that what the mean tells grows with the number of sites: by
        # means alone the effect of what is imputed comes out too small.
        adds_up = np.vstack([of_outcome * size[units], size[units]]) / mean_size
        at_sites = [rows @ means for rows in others(False, sites)]
        return Predictors.of([*others(True, units), of_outcome, *at_sites, adds_up])
    patient, own = chain.patient[units], target.predictors(values[k])
    # The same measure at the patient's other sites; at a lone site, the mean of all.
    n_rest = size[patient] - 1
    rest = [
        np.where(n_rest > 0, (of_all - row[units]) / np.maximum(n_rest, 1), row.mean())[None]
        for row in (own.toarray() if sparse.issparse(own) else own)
        for of_all in [np.bincount(chain.patient, row, len(size))[patient]]
    ]
    return Predictors.of([chain.outcome[:, units], *others(False, units), *rest, *others(True, patient)])


def _drawn(
    chain: Chain, values: list[np.ndarray], k: int, rng: np.random.Generator, found: dict[int, np.ndarray]
) -> np.ndarray:
    """Variable k with its missing values drawn anew.

    `found` keeps the likeliest coefficients of each level: the next round's are not far.
    """
    variable = chain.variables[k]
    value, known = variable.value.copy(), variable.known
    fitted_to = _some(known, rng)
    units = np.flatnonzero(fitted_to | ~known)
    x, fitted, missing = _predictors(chain, values, k, units), fitted_to[units], ~known[units]
    x_missing = x.at(missing)
    if variable.labels is None:
        value[~known] = drawn_numbers(x.at(fitted), value[fitted_to], x_missing, rng)
        return value
    # One level after the other against all later ones; what no level took gets the last.
    drawn = np.full(variable.n_missing, len(variable.labels) - 1.0)
    undecided = np.ones(variable.n_missing, bool)
    for level in range(len(variable.labels) - 1):
        among = fitted & (value[units] >= level)
        if not among.any():
            break
        chance, found[level] = drawn_odds(x.at(among), value[units[among]] == level, x_missing, rng, found.get(level))
        takes = undecided & (rng.random(variable.n_missing) < chance)
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
