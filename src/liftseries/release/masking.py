"""The numbers of a run with those withheld that tell of few patients: what the released report is made from.

Which leave and when is declared beside each analysis and table (`disclosure.declared`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.disclosure.coarsening import Coarsened
from liftseries.disclosure.declared import MANY_PATIENTS, Behind, Rule, TableRules
from liftseries.disclosure.earlier import left_by_earlier
from liftseries.disclosure.suppression import Protection
from liftseries.models.questions import tables_that_may_leave
from liftseries.models.shared.population import Population
from liftseries.release.before import Before
from liftseries.release.bounds import with_bounds
from liftseries.release.changed_counts import told_otherwise
from liftseries.release.digits import EFFECT, Grid, rounded
from liftseries.release.entries import RESULTS, Behinds, behind_rows, enter_tables, is_core, n_of_share
from liftseries.release.groups import told_groups
from liftseries.release.leaving import leaving
from liftseries.release.ledger import Ledger
from liftseries.release.rows import enter_rows
from liftseries.release.withholding import costs_of, protection_of
from liftseries.release.words import told_words
from liftseries.report.closing.as_read import reading_told
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, WITHHELD_COUNT, few_of
from liftseries.report.kit.tables.cells import PERCENT_SCALES

PLAN_SECTIONS = ("study", "purpose", "plan", "extra_columns", "sharing")  # the others name files and people's words


@dataclass(frozen=True)
class Masked:
    """What may leave the house.

    Attributes
    ----------
    material : as the report takes it
        A withheld count is `WITHHELD_COUNT`, one of 1 to k - 1 is `few_of(k)`, a withheld number is missing.
    whole : the same with nothing withheld, of the rows that leave
    behind : who stands behind each row
    ledger
    protection
    withheld : one row a table: `table, counts, counts_withheld, numbers_withheld`
    """

    material: Material
    whole: Material
    behind: Behinds
    ledger: Ledger
    protection: Protection
    withheld: pd.DataFrame

    @property
    def tells_no_count(self) -> bool:
        """Whether no count of the report is told but what the rows tell."""
        gone = self.ledger.withheld(self.protection.withheld)
        return not set(self.ledger.entries) - self.ledger.unprinted - self.ledger.known - gone


def tables_of(material: Material) -> dict[str, pd.DataFrame]:
    """The tables that may leave the house, by name."""
    return {name: material.table(name) for name in tables_that_may_leave()}


def mask(
    material: Material,
    population: Population,
    smallest_cell: int,
    rows: Coarsened | None = None,
    before: Before | None = None,
) -> Masked:
    """Withholds what tells of fewer patients than the smallest cell, and what would give that away.

    Parameters
    ----------
    material : of a finished run
    population : of the same run
    smallest_cell : fewest patients that a printed count may rest on
    rows : coarsened rows that leave the house too, so that all that can be counted in them is known
    before : what earlier releases told
    """
    whole = leaving(material, population.cases)
    tables, behind, untold = dict(whole.tables), behind_rows(tables_of(whole), population), []
    for name, rules in tables_that_may_leave().items():
        told = told_groups(name, tables[name], rules, behind[name], population, smallest_cell)
        tables[name] = tables[name].loc[told.kept].reset_index(drop=True)
        behind[name] = [one for one, kept in zip(behind[name], told.kept, strict=True) if kept]
        untold += told.untold
    whole, ledger = replace(whole, tables=tables), Ledger(population, before=before)
    enter_tables(ledger, tables_of(whole), behind, untold)
    for cell in ledger.disagreements(tables_of(whole)):
        del ledger.cells[cell]
    if rows:
        enter_rows(ledger, rows)
    counts = ledger.counts(smallest_cell)
    if before:
        ledger.barred = told_otherwise(ledger, before.counts, smallest_cell)
        ledger.left = left_by_earlier(counts, ledger.patients, smallest_cell, before.counts, before.told)
    protection = protection_of(ledger, counts, smallest_cell, costs_of(whole, behind, ledger, counts))
    masked, withheld = masked_material(whole, behind, ledger, protection, smallest_cell)
    return Masked(masked, whole, behind, ledger, protection, withheld)


def masked_material(
    whole: Material, behind: Behinds, ledger: Ledger, protection: Protection, smallest_cell: int
) -> tuple[Material, pd.DataFrame]:
    """The material with what is withheld taken out, and how much that was; no withheld value changes either."""
    tables, told = dict(whole.tables), []
    gone, few = ledger.withheld(protection.withheld), ledger.withheld(protection.told_as_few)
    for name, table in tables_of(whole).items():
        rules = tables_that_may_leave()[name]
        masking = _Masking(name, rules, table, behind[name], ledger, gone, few, smallest_cell)
        tables[name] = masking.masked()
        told.append(masking.tally())
    tables[RESULTS] = with_bounds(told_words(tables[RESULTS], smallest_cell))
    material = replace(whole, tables=tables, plan=released_plan(whole.plan), inputs={}, figures={})
    return material, pd.DataFrame(told)


def rounded_remark(scale: str, grid: Grid) -> str:
    """What is said beside a number told roundly."""
    if scale == EFFECT:
        return remark("rounded_effect")
    if scale in PERCENT_SCALES:
        return remark("rounded_share", points=50 * grid.unit)
    return remark("rounded_months", months=grid.unit / 2)


def released_plan(plan: Mapping) -> dict:
    """The plan without names of files, and without the words of the study's own tables."""
    told = {section: plan[section] for section in PLAN_SECTIONS if section in plan} | {"read_as": reading_told(plan)}
    # How many files a table has is no secret; which is what the report asks for.
    return told | {"tables": {table: ["not told"] * len(files) for table, files in plan.get("tables", {}).items()}}


@dataclass
class _Masking:
    """The masking of one table."""

    name: str
    rules: TableRules
    table: pd.DataFrame
    behind: Sequence[Behind | None]
    ledger: Ledger
    gone: set[str]
    few: set[str]
    smallest_cell: int
    n_counts: int = 0
    n_withheld: int = 0
    n_numbers: int = 0

    def masked(self) -> pd.DataFrame:
        """A copy in which the withheld counts are below nought and the withheld numbers missing."""
        table = self.table.reset_index(drop=True).copy()
        went = {}
        for column in (column for column in self.rules.counts if column in table):
            table[column] = self._counts(column, table[column])
            went[column] = table[column].lt(0).to_numpy(bool)
        for rule in self.rules.rules:
            goes = self._numbers_go(rule, went)
            for column in (column for column in rule.numbers if column in table):
                values = pd.to_numeric(table[column]).astype(float)
                away = goes | self._p_goes(column, went)
                self.n_numbers += int((away & values.notna().to_numpy(bool)).sum())
                table[column] = rounded(values.mask(away), column, table.get("scale"), self._n_of_shares, self._coarse)
            if "problem" in table and "estimate" in rule.numbers:
                had = pd.to_numeric(self.table["estimate"]).notna().to_numpy(bool)
                table.loc[goes & had, "problem"] = WITHHELD
            if "note" in table and ("estimate" in rule.numbers or rule.interval):
                table.loc[goes | self._is_coarse, "note"] = ""
        if "note" in table:
            for at in np.flatnonzero(self._is_coarse):
                table.loc[at, "note"] = rounded_remark(table["scale"].iloc[at], self._coarse[at])
        return table

    def _counts(self, column: str, values: pd.Series) -> pd.Series:
        """A column's counts as they leave."""
        told = []
        for row, value in enumerate(values):
            name = self.ledger.cells.get((self.name, row, column))
            self.n_counts += pd.notna(value) and self._is_core[row]
            if pd.isna(value):
                told.append(np.nan)
            elif name is not None and name not in self.gone:
                told.append(float(value))
            else:
                below = self.smallest_cell if name in self.few else self.ledger.told_below.get(name)
                told.append(few_of(below) if below else WITHHELD_COUNT)
                self.n_withheld += self._is_core[row]
        return pd.Series(told, index=values.index, dtype=float)

    @cached_property
    def _n_of_shares(self) -> np.ndarray:
        """Of how many sites, or patients, each row is that is a share; see `n_of_share`."""
        return np.array([n_of_share(one, self.ledger.population) for one in self.behind], float)

    @cached_property
    def _coarse(self) -> list[Grid | None]:
        """How each row's estimate is told roundly; None where in all its digits."""
        return [self.ledger.coarse.get((self.name, row)) for row in range(len(self.table))]

    @property
    def _is_coarse(self) -> np.ndarray:
        return np.array([grid is not None for grid in self._coarse], bool)

    @cached_property
    def _is_core(self) -> list[bool]:
        """Whether each row's counts are of the core."""
        if self.name != RESULTS:
            return [self.rules.core] * len(self.table)
        return [is_core(row) for row in self.table.itertuples(index=False)]

    def _p_goes(self, column: str, went: Mapping[str, np.ndarray]) -> np.ndarray:
        """Beside its interval a p gives the degrees of freedom away, which are the number of patients less a few."""
        if column != "p_value":
            return np.zeros(len(self.table), bool)
        many = [one is not None and self._n_patients(one.rests_on[:1]) >= MANY_PATIENTS for one in self.behind]
        return went["n_patients"] & ~np.array(many, bool)

    def _numbers_go(self, rule: Rule, went: Mapping[str, np.ndarray]) -> np.ndarray:
        goes = self._is_coarse & rule.interval
        for column in rule.counts:
            goes |= went.get(column, False)
        for row, behind in enumerate(self.behind):
            # A row of which nobody knows who stands behind it may rest on anybody.
            goes[row] |= behind is None or (rule.behind > 0 and self._too_few(rule, behind))
            if not goes[row] and rule.given_away:
                away = () if self._coarse[row] else behind.gives_away
                away = (*away, *(behind.by_interval if rule.interval else ()))
                goes[row] = not all(self.ledger.is_told(counted, self.gone) for counted in away)
        return goes

    def _too_few(self, rule: Rule, behind: Behind) -> bool:
        """Whether too few patients stand behind a row; nobody at all is too few, too."""
        base = self._n_patients(behind.rests_on)
        first = self._n_patients(behind.rests_on[:1])
        few = base < rule.behind * self.smallest_cell or first < behind.needs
        return few or (bool(behind.parts) and self._n_patients(behind.parts) < self.smallest_cell)

    def _n_patients(self, groups: Sequence[np.ndarray]) -> int:
        return min(map(self.ledger.population.n_patients, groups), default=0)

    def tally(self) -> dict:
        """How much was withheld: of the core's counts, and of all other numbers."""
        return {
            "table": self.name,
            "counts": int(self.n_counts),
            "counts_withheld": int(self.n_withheld),
            "numbers_withheld": self.n_numbers,
        }


def withheld_columns(results: pd.DataFrame, whole: pd.DataFrame) -> list[str]:
    """For each row of results.csv, which of its columns were withheld, in words one after another; `<` where few."""
    rules = tables_that_may_leave()[RESULTS]
    numbers = [column for rule in rules.rules for column in rule.numbers]
    gone = {column: whole[column].notna().to_numpy(bool) & results[column].isna().to_numpy(bool) for column in numbers}
    gone |= {column: results[column].lt(0).to_numpy(bool) for column in rules.counts}
    order = [column for column in results.columns if column in gone]
    few = {column: results[column].lt(WITHHELD_COUNT).to_numpy(bool) for column in rules.counts}
    told = {column: -results[column].fillna(0).to_numpy(float) for column in rules.counts}

    def name(column: str, row: int) -> str:
        return f"{column}<{told[column][row]:g}" if column in few and few[column][row] else column

    return [" ".join(name(column, row) for column in order if gone[column][row]) for row in range(len(results))]
