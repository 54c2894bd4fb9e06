"""The numbers of a run with those withheld that tell of few patients: what the released report is made from.

Which go where a count goes is declared beside each table (`disclosure.declared`). What stays is rounded to three
significant digits, so that nobody reads a count off the far digits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from liftseries.base.named import function_named
from liftseries.base.remarks import Remark, counts_of_cases, joined, remarks_in
from liftseries.disclosure.coarsening import Coarsened
from liftseries.disclosure.counts import n_patients_behind
from liftseries.disclosure.declared import Rule, TableRules
from liftseries.disclosure.suppression import Protection, protect
from liftseries.models.questions import tables_that_may_leave
from liftseries.models.shared.population import Population
from liftseries.release.entries import RESULTS, enter_tables
from liftseries.release.leaving import leaving
from liftseries.release.ledger import Ledger
from liftseries.release.rows import enter_rows
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, WITHHELD_COUNT
from liftseries.report.kit.tables.cells import RATIO_SCALES

SIGNIFICANT_DIGITS = 3
LARGEST_LOG = 50.0  # of a ratio that can be written
PLAN_SECTIONS = ("study", "purpose", "plan", "extra_columns", "sharing")  # the others name files and people's words
NEVER = ("failure_after_fallen_out",)  # remarks that count patients, mostly few: never told
TOTAL_COSTS = 100.0  # what withholding the size of the series costs, where another count costs log(1 + value)
ROUNDS = 3  # of asking again with more withheld
MOST_FEW = 1 / 3  # of the different counts; our convention
KNOTS_NEED = 10  # times the smallest cell: the outer knots have a tenth of the sites beyond them


@dataclass(frozen=True)
class Masked:
    """What may leave the house.

    Attributes
    ----------
    material : as the report takes it; a withheld count is `WITHHELD_COUNT`, a withheld number is missing
    whole : the same with nothing withheld, as `leaving` gives it
    ledger
    protection
    withheld : one row a table: `table, counts, counts_withheld, not_in_ledger, numbers_withheld`
    """

    material: Material
    whole: Material
    ledger: Ledger
    protection: Protection
    withheld: pd.DataFrame


def tables_of(material: Material) -> dict[str, pd.DataFrame]:
    """The tables that may leave the house, by name."""
    return {name: material.table(name) for name in tables_that_may_leave()}


def ledger_of(whole: Material, population: Population) -> Ledger:
    """Whom every count of these tables counts; an entry that does not come to the printed value is struck.

    Parameters
    ----------
    whole : as `leaving` gives it
    population : of the same run
    """
    ledger, tables = Ledger(population), tables_of(whole)
    enter_tables(ledger, tables)
    for cell in ledger.disagreements(tables):
        del ledger.cells[cell]
    return ledger


def mask(material: Material, population: Population, smallest_cell: int, rows: Coarsened | None = None) -> Masked:
    """Withholds what tells of fewer patients than the smallest cell, and what would give that away.

    Parameters
    ----------
    material : of a finished run
    population : of the same run
    smallest_cell : fewest patients that a printed count may rest on
    rows : coarsened rows that leave the house too, so that all that can be counted in them is known
    """
    whole = leaving(material, population.cases)
    ledger = ledger_of(whole, population)
    if rows:
        enter_rows(ledger, rows)
    protection = protection_of(ledger, smallest_cell)
    gone = ledger.withheld(protection.withheld)
    tables, told = dict(whole.tables), []
    for name, table in tables_of(whole).items():
        rules = tables_that_may_leave()[name]
        masking = _Masking(name, rules, table, ledger, gone, smallest_cell)
        masked = masking.masked()
        tables[name] = function_named(rules.follows)(table, masked) if rules.follows else masked
        told.append(masking.tally())
    tables[RESULTS] = _words(tables[RESULTS], smallest_cell)
    material = replace(whole, tables=tables, plan=released_plan(material.plan), inputs={}, figures={})
    return Masked(material, whole, ledger, protection, withheld=pd.DataFrame(told))


def protection_of(ledger: Ledger, smallest_cell: int) -> Protection:
    """What is withheld of a ledger's counts: in a series so small that most of them are of few patients, all of it.

    What would be left of such a series tells little, and looking for it is slow: nearly every count hangs on another.
    """
    few = [entry for entry in ledger.entries.values() if 1 <= entry.n_patients < smallest_cell]
    if len(few) <= MOST_FEW * len(ledger.entries):
        return _protected(ledger, smallest_cell)
    counts = ledger.counts(smallest_cell)
    small = {count.name for count in counts if n_patients_behind(count, ledger.population.patients) < smallest_cell}
    every = {count.name for count in counts if count.published}
    columns = ["name", "value", "patients", "lower", "upper", "needed_lower", "needed_upper", "protected"]
    return Protection(frozenset(every & small), frozenset(every - small), pd.DataFrame(columns=columns))


def _protected(ledger: Ledger, smallest_cell: int) -> Protection:
    """The engine's answer; where it cannot hide a group, what stands next to that group goes, and it is asked again."""
    patients = ledger.population.patients
    # A few values that are missing tell nothing of a patient, but shown they give other small counts away.
    unprinted = {name for name, entry in ledger.entries.items() if entry.recorded and entry.n_patients < smallest_cell}
    unprinted -= {name for name in unprinted if not ledger.entries[name].n_patients}
    unprinted |= ledger.beside_their_sites(smallest_cell)
    for _ in range(ROUNDS):
        counts = {count.name: count for count in ledger.counts(smallest_cell, unprinted)}
        totals = {name: TOTAL_COSTS for name, count in counts.items() if count.members.all()}
        protection = protect(list(counts.values()), patients, smallest_cell, weights=totals)
        intervals = protection.intervals
        exposed = [counts[name] for name in intervals.loc[~intervals["protected"].astype(bool), "name"]]
        if not exposed:
            break
        shown = set(ledger.seen_in) - ledger.withheld(protection.withheld) - unprinted - ledger.known
        more = set().union(*(ledger.next_to(count.members, count.unit, shown) for count in exposed))
        if not more:
            break
        unprinted |= more
    beforehand = {f"{name} | {table}" for name in unprinted for table in ledger.seen_in[name]}
    return replace(protection, complementary=protection.complementary | beforehand)


def released_plan(plan: Mapping) -> dict:
    """The plan without names of files, and without the words of the study's own tables."""
    told = {section: plan[section] for section in PLAN_SECTIONS if section in plan}
    # How many files a table has is no secret; which is what the report asks for.
    return told | {"tables": {table: ["not told"] * len(files) for table, files in plan.get("tables", {}).items()}}


@dataclass
class _Masking:
    """The masking of one table."""

    name: str
    rules: TableRules
    table: pd.DataFrame
    ledger: Ledger
    gone: set[str]
    smallest_cell: int
    n_withheld: int = 0
    n_unknown: int = 0
    n_numbers: int = 0

    @property
    def counts(self) -> list[str]:
        """Its columns of counts."""
        return [column for column in self.rules.counts if column in self.table]

    def masked(self) -> pd.DataFrame:
        """A copy in which the withheld counts are `WITHHELD_COUNT` and the withheld numbers missing."""
        table = self.table.reset_index(drop=True).copy()
        went = {column: self._count_goes(column) for column in self.counts}
        for column, goes in went.items():
            table[column] = pd.to_numeric(table[column]).astype(float).mask(goes, WITHHELD_COUNT)
            self.n_withheld += int(goes.sum())
        for rule in self.rules.rules:
            goes = self._numbers_go(rule, went)
            for column in (column for column in rule.numbers if column in table):
                values = pd.to_numeric(table[column]).astype(float)
                self.n_numbers += int((goes & values.notna().to_numpy(bool)).sum())
                table[column] = rounded(values.mask(goes), self._logs(column))
            if "problem" in table and "estimate" in rule.numbers:
                table.loc[goes, "problem"] = WITHHELD
        return table

    def _logs(self, column: str) -> pd.Series:
        """Which rows hold logarithms of ratios in a column; of a standard error the digits are its own."""
        if "scale" not in self.table or column not in ("estimate", "conf_low", "conf_high"):
            return pd.Series(False, index=range(len(self.table)))
        return self.table["scale"].reset_index(drop=True).isin(RATIO_SCALES)

    def _count_goes(self, column: str) -> np.ndarray:
        """Where a column's count is withheld; shape (n_rows,)."""
        goes = np.zeros(len(self.table), bool)
        for row, value in enumerate(self.table[column]):
            if pd.isna(value):
                continue
            name = self.ledger.cells.get((self.name, row, column))
            self.n_unknown += name is None
            goes[row] = name is None or name in self.gone
        return goes

    def _numbers_go(self, rule: Rule, went: Mapping[str, np.ndarray]) -> np.ndarray:
        goes = np.zeros(len(self.table), bool)
        for column in rule.counts:
            goes |= went.get(column, False)
        for row in range(len(self.table)):
            place = self.name, row
            if rule.given_away and self.ledger.given_away.get(place, set()) & self.gone:
                goes[row] = True
            if rule.behind:
                behind = self.ledger.rests_on.get(place)
                # A row that the ledger does not know may rest on anybody. Nobody at all is too few, too: that a group
                # had no event is told by the estimate that could not be had.
                goes[row] |= behind is None or min(behind) < rule.behind * self.smallest_cell
        return goes

    def tally(self) -> dict:
        """How much was withheld."""
        return {
            "table": self.name,
            "counts": int(sum(self.table[column].notna().sum() for column in self.counts)),
            "counts_withheld": self.n_withheld,
            "not_in_ledger": self.n_unknown,
            "numbers_withheld": self.n_numbers,
        }


def rounded(values: pd.Series, logs: pd.Series | bool = False) -> pd.Series:
    """To three significant digits; logarithms, where `logs` is true, to those of the ratio that a page prints."""

    def to_digits(value: float) -> float:
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if np.isfinite(value) else value

    plain = values.map(to_digits)
    ratios = np.exp(values.clip(-LARGEST_LOG, LARGEST_LOG)).map(to_digits)
    return plain.where(~(logs & values.abs().lt(LARGEST_LOG)), np.log(ratios))


def _words(results: pd.DataFrame, smallest_cell: int) -> pd.DataFrame:
    """Notes and problems tell counts, too: only those stay that the row shows in its own columns."""
    counts = results[["n_sites", "n_patients", "n_events"]]
    few = counts["n_patients"].lt(KNOTS_NEED * smallest_cell)
    shown = [set(row) for row in counts.itertuples(index=False)]
    return results.assign(
        **{
            column: [_masked_words(*row) for row in zip(results[column].astype(str), shown, few, strict=True)]
            for column in ("note", "problem")
        }
    )


def _masked_words(text: str, shown: set[float], few: bool) -> str:
    """A cell of remarks as it may leave: what is none of our remarks does not."""
    if text == WITHHELD:
        return text
    return joined(*(str(_masked_remark(one, shown, few)) for one in remarks_in(text) if one.name not in ("", *NEVER)))


def _masked_remark(one: Remark, shown: set[float], few: bool) -> Remark:
    holes = dict(one.holes)
    for hole, value in one.holes.items():
        if isinstance(value, Remark):
            holes[hole] = _masked_remark(value, shown, few)
        elif hole in counts_of_cases(one.name) and float(value) not in shown:
            holes[hole] = WITHHELD_COUNT
        elif few and one.name == "knots":
            holes[hole] = ()
    return Remark(one.name, holes)


def withheld_columns(results: pd.DataFrame, whole: pd.DataFrame) -> list[str]:
    """For each row of results.csv, which of its columns were withheld, in words one after another."""
    rules = tables_that_may_leave()[RESULTS]
    numbers = [column for rule in rules.rules for column in rule.numbers]
    gone = {column: whole[column].notna().to_numpy(bool) & results[column].isna().to_numpy(bool) for column in numbers}
    gone |= {column: results[column].eq(WITHHELD_COUNT).to_numpy(bool) for column in rules.counts}
    order = [column for column in results.columns if column in gone]
    return [" ".join(column for column in order if gone[column][row]) for row in range(len(results))]
