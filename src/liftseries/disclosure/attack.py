"""The attack: what a reader of everything that is published can work out about what is withheld.

It knows how the counts hang together (`structure`) and what is printed, and nothing of how it was decided what to
withhold; so it is the check of that decision. Lowest and highest values come from linear programming (`parts`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count, check_counts
from liftseries.disclosure.parts import Together, Value, goals_of, known_of, parts_of
from liftseries.disclosure.structure import structure_of


def attack(
    counts: Sequence[Count],
    patients: np.ndarray,
    values: Mapping[str, Value],
    targets: Collection[str] | None = None,
    further: Sequence[Together] = (),
    *,
    integers: bool = False,
) -> pd.DataFrame:
    """Lowest and highest value that each withheld count can have, given all that is published.

    Parameters
    ----------
    counts : the whole ledger; only the structure is used, never a count's own value
    patients : shape (n_sites,), int
    values : by name, what is printed
        A number, the lowest and highest that it can be (`<5` is 0 to 4), None or absent where it is withheld.
    targets : names of the counts that are asked for; all without a value where absent
    further : what is known of several counts together
    integers : solve in whole patients (slower, never wider) instead of the linear relaxation

    Returns
    -------
    `name, lower, upper`, one row a target; `upper` is inf where nothing bounds it.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    check_counts(counts, patients)
    structure = structure_of(counts, patients)
    known, within = known_of(structure, values)
    if targets is None:
        targets = [count.name for count in counts if not isinstance(values.get(count.name), int | np.integer)]
    asked = {structure.number_of[name] for name in targets}
    parts = parts_of(structure, known, within, further)
    bounds = {number: limits for part in parts for number, limits in part.bounds(asked, integers)}
    limits = [(known[i], known[i]) if i in known else bounds[i] for i in map(structure.number_of.get, targets)]
    return pd.DataFrame({"name": list(targets)}).assign(
        lower=[float(low) for low, _ in limits], upper=[float(high) for _, high in limits]
    )


def told_apart(
    counts: Sequence[Count],
    patients: np.ndarray,
    values: Mapping[str, Value],
    needed: Mapping[str, tuple[float, float]],
    further: Sequence[Together] = (),
    tried: list[np.ndarray] | None = None,
    *,
    stop: bool = False,
) -> pd.DataFrame:
    """Which counts a reader can tell from one, or from k - 1.

    It asks less than `attack`, and is far sooner done: a series in whole numbers that agrees with all that is printed
    answers for every count that is as low or as high there as it has to be.

    Parameters
    ----------
    counts, patients, values : as in `attack`
    needed : by name, a value that the count must be able to fall to, and one that it must be able to rise to
    further : as in `attack`
    tried : whole series, shape (n_numbers,) each, such as were found for other values; those that agree with these
        are not looked for again, and what is found is added
    stop : look for each series briefly, and for none after the first that is not found: whether any is recovered, soon

    Returns
    -------
    `name, lower, upper, recovered`, one row a count that is needed: the lowest and highest value in the series found,
    which need not be all there are; `recovered` where none has the value needed.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    check_counts(counts, patients)
    structure = structure_of(counts, patients)
    known, within = known_of(structure, values)
    goals = goals_of(structure, needed)
    found = {number: (value, value) for number, value in known.items()}
    pieces = []
    for part in parts_of(structure, known, within, further):
        limits, series = part.reached(goals, tried or (), stop=stop)
        found |= limits
        pieces += [(part.numbers, series)] if len(series) else []
    if tried:
        for k in range(max((len(series) for _, series in pieces), default=0)):
            one = tried[0].copy()
            one[list(known)] = list(known.values())
            for numbers, series in pieces:
                one[numbers] = series[k % len(series)]
            tried.append(one)
    rows = []
    for name, (low, high) in needed.items():
        lowest, highest = found[structure.number_of[name]]
        rows.append((name, lowest, highest, lowest > low or highest < high))
    return pd.DataFrame(rows, columns=["name", "lower", "upper", "recovered"])
