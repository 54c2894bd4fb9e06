"""Which groups are told apart: a group of few patients has no row at all, whatever its cells hold.

A group under k patients goes, and with it the next smallest until at least two are gone that are k patients together:
nothing is left that a difference to the total could tell of fewer. Where one group alone would be left, the split goes.
Likewise a group in which none, or all, have what the row tells, where that tells something of each of them: a trait in
a group under 4k; an outcome, by whether it is good or bad news, under 2k or 4k.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import OUTCOME_NEEDS, TRAIT_NEEDS, Behind, Counted, TableRules
from liftseries.models.questions import ANALYSES
from liftseries.models.shared.population import Population

WHOLE = "all"  # the subset of everybody


@dataclass(frozen=True)
class Untold:
    """A row of the groups of a column that are not told apart, taken together."""

    table: str
    row: Any
    behind: Behind


@dataclass(frozen=True)
class Told:
    """What is left of a table.

    Attributes
    ----------
    kept : shape (n_rows,), true/false
    untold : the rows that went, the groups of a column taken together
    """

    kept: np.ndarray
    untold: list[Untold]


def told_groups(
    name: str,
    table: pd.DataFrame,
    rules: TableRules,
    behind: Sequence[Behind | None],
    population: Population,
    smallest_cell: int,
) -> Told:
    """The rows of a table whose groups are told.

    Parameters
    ----------
    name, table, rules : the table and how it may leave
    behind : who stands behind each row
    population
    smallest_cell : k
    """
    kept, untold = np.ones(len(table), bool), []
    if "subset" not in table:
        return Told(kept, untold)
    families: dict[tuple, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    printed = list(table.itertuples(index=False))
    for position, row in enumerate(printed):
        if behind[position] is not None:
            told_by = tuple(getattr(row, column) for column in rules.told_by)
            families[(*told_by, row.subset.partition("=")[0])][row.subset].append(position)
    for rows_of in families.values():
        groups = [_group_of(level, rows, printed, behind, rules, population) for level, rows in rows_of.items()]
        gone = _gone(groups, population, smallest_cell)
        kept[[position for group in gone for position in group.rows]] = False
        if gone and gone[0].level != WHOLE:
            untold += _together(name, gone, printed, behind)
    return Told(kept, untold)


@dataclass(frozen=True)
class _Group:
    """The rows of one level; how many times k patients they need, and of whom they tell."""

    level: str
    rows: list[int]
    members: np.ndarray
    needs: int


def _group_of(level, rows, printed, behind, rules, population) -> _Group:
    members = np.any([_members(behind[position]) for position in rows], axis=0)
    least = 1 if rules.traits or not rules.told_by else OUTCOME_NEEDS
    needs = max(_needs(printed[position], behind[position], rules, population) for position in rows)
    return _Group(level, rows, members, needs if level == WHOLE else max(needs, least))


def _members(behind: Behind) -> np.ndarray:
    return behind.group if behind.group is not None else behind.rests_on[0]


def _needs(row, behind: Behind, rules: TableRules, population: Population) -> int:
    """How many times k patients a group needs, for none or all of it have what the row tells."""
    whole = behind.counts.get("n_known") or behind.counts.get("n_sites")
    part = behind.counts.get("n") if rules.traits else behind.counts.get("n_events")
    if whole is None or part is None or not whole.members.any():
        return 0
    n, n_part = population.n_patients(whole.members), population.n_patients(part.members)
    some_without = (whole.members & ~part.members).any()
    if (rules.traits and not getattr(row, "level", "")) or (n_part and some_without):
        return 0
    if rules.traits:
        return TRAIT_NEEDS
    good_news = ANALYSES[row.analysis].good == bool(n_part) if getattr(row, "analysis", "") in ANALYSES else True
    return OUTCOME_NEEDS if good_news or not n else TRAIT_NEEDS


def _gone(groups: list[_Group], population: Population, k: int) -> list[_Group]:
    """The groups of a family that are not told apart."""
    size = {group.level: population.n_patients(group.members) for group in groups}
    gone = [group for group in groups if size[group.level] < group.needs * k]
    if not gone or groups[0].level == WHOLE:
        return gone
    rest = sorted((group for group in groups if group not in gone), key=lambda group: (size[group.level], group.level))
    together = np.any([group.members for group in gone], axis=0)
    while rest and (len(gone) < 2 or population.n_patients(together) < max(group.needs for group in gone) * k):
        gone.append(rest.pop(0))
        together = together | gone[-1].members
    return groups if len(rest) < 2 else gone


def _together(name: str, gone: list[_Group], printed: list, behind: Sequence[Behind | None]) -> list[Untold]:
    """The rows of groups that went, those of the same kind taken together."""
    kinds: dict[tuple, list[int]] = defaultdict(list)
    for position in (position for group in gone for position in group.rows):
        row = printed[position]
        same = (getattr(row, column, "") for column in ("analysis", "term", "method", "column", "level", "months"))
        kinds[tuple(same)].append(position)
    found = []
    for rows in kinds.values():
        counts: Mapping[str, Counted] = behind[rows[0]].counts
        joint = {
            column: Counted(np.any([behind[row].counts[column].members for row in rows], axis=0), counted.unit)
            for column, counted in counts.items()
            if all(column in behind[row].counts for row in rows)
        }
        found.append(Untold(name, printed[rows[0]], replace(behind[rows[0]], counts=joint)))
    return found
