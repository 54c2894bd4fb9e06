"""What a comparison found, looked up by outcome, group and method.

A group whose years of surgery hardly meet the reference's cannot be told apart from the calendar: like one that is tied
to operators it has no effect here, though results.csv keeps its row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.comparison.compared import ALL, AS_DRILLED
from liftseries.models.comparison.contrasts import CRUDE, DIFFERENCE, G_COMPUTATION
from liftseries.models.comparison.doubts import YEARS_SHARED
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.study.schema import UNKNOWN

USUAL_MONTH = 36
SHARE, MM, MONTHS = "share", "mm", "months"
ENTANGLED = "comparison_entangled"
MOST_DRAWN = 3  # groups beside the reference whose overlap is drawn


@dataclass(frozen=True)
class Outcome:
    """An outcome that groups are compared in.

    Attributes
    ----------
    name : in plan.comparison.primary and in the sentences
    scale : SHARE, of which 100 are told; MM; MONTHS
    of_group : a group's own term, `risk`; "" where only differences are told
    dated : whether its terms name a month
    """

    name: str
    scale: str
    of_group: str = ""
    dated: bool = False

    @property
    def analysis(self) -> str:
        """In results.csv."""
        return f"comparison.{self.name}"


OUTCOMES = {
    one.name: one
    for one in (
        Outcome("perforation", SHARE, "risk"),
        Outcome("survival", SHARE, "survival", dated=True),
        Outcome("rmst", MONTHS, "rmst", dated=True),
        Outcome("gain", MM),
        Outcome("deeper", SHARE, "risk"),
        Outcome("adherence", SHARE, "risk"),
        Outcome("depth_error", MM),
        Outcome("depth_error_size", MM),
    )
}
IN_REPORT = ("perforation", "survival", "gain", "deeper", "adherence")


@dataclass(frozen=True)
class Comparison:
    """Rows of results.csv, and what the plan asked.

    Attributes
    ----------
    results : rows of all analyses of the comparison
    entangled : `group, operator, surgery_year, n_sites`
    asked : plan.comparison
    survival_months : of the plan
    words
    """

    results: pd.DataFrame
    entangled: pd.DataFrame
    asked: Mapping[str, Any]
    survival_months: Sequence[float]
    words: Words

    # ── groups ──────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def reference(self) -> str:
        """The group that the others are compared with."""
        return str(self.asked["reference"])

    @cached_property
    def levels(self) -> tuple[str, ...]:
        """The groups that have a site in the series, the reference first."""
        rows = self._of(OUTCOMES["perforation"], ALL)
        terms = rows.loc[rows["term"].str.startswith("risk["), "term"]
        return tuple(dict.fromkeys(term.removeprefix("risk[").removesuffix("]") for term in terms))

    @cached_property
    def others(self) -> tuple[str, ...]:
        """Those that are compared with the reference."""
        return tuple(level for level in self.levels if level != self.reference)

    @cached_property
    def why_nothing(self) -> str:
        """Why nothing is compared, whatever the outcome; empty where something is."""
        column = self.column
        if not self.levels:
            return say("comparison.no_groups", column=column)
        if self.reference not in self.levels:
            return say("comparison.no_reference", reference=self.named(self.reference), column=column)
        return "" if self.others else say("comparison.one_group", group=self.named(self.levels[0]), column=column)

    @cached_property
    def column(self) -> str:
        """What the groups differ in: `protocol`."""
        name = self.words.column(self.asked["groups"])
        return name[0].lower() + name[1:]

    def named(self, level: str) -> str:
        """`Protocol B`; `Residual height <4 mm`."""
        return self.words.subset(f"{self.asked['groups']}={level}").replace(": ", " ", 1)

    @property
    def terms(self) -> list[str]:
        """What the comparison is adjusted for, in words."""
        names = map(self.words.column, self.asked["adjust_for"])
        return [name[0].lower() + name[1:] for name in names]

    # ── outcomes ────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def primary(self) -> Outcome:
        """The primary outcome."""
        return OUTCOMES[self.asked["primary"]]

    @property
    def secondary(self) -> tuple[Outcome, ...]:
        """The others that the report tells, as far as anybody recorded them."""
        others = (OUTCOMES[name] for name in IN_REPORT if name != self.primary.name)
        return tuple(outcome for outcome in others if self.recorded(outcome))

    def recorded(self, outcome: Outcome) -> bool:
        """Whether any site has this outcome."""
        return bool(pd.to_numeric(self._of(outcome, ALL)["n_sites"]).fillna(0).gt(0).any())

    @property
    def margin(self) -> float | None:
        """The difference in the primary outcome that matters, if one was set."""
        return self.asked["margin"]

    @cached_property
    def month(self) -> float:
        """The one at which survival is told, whatever was found: 36, or the middle one of the plan's months."""
        months = list(self.survival_months)
        return USUAL_MONTH if USUAL_MONTH in months else months[len(months) // 2]

    def term(self, what: str, level: str, outcome: Outcome, month: float | None = None) -> str:
        """A term of results.csv: `difference[B] at 36`."""
        return f"{what}[{level}]" + (f" at {self.month if month is None else month:g}" if outcome.dated else "")

    def _of(self, outcome: Outcome, subset: str) -> pd.DataFrame:
        return self.results[self.results["analysis"].eq(outcome.analysis) & self.results["subset"].eq(subset)]

    def rows(self, outcome: Outcome, term: str, subset: str = ALL) -> pd.DataFrame:
        """A term by every method."""
        rows = self._of(outcome, subset)
        return rows[rows["term"].eq(term)]

    def value(self, outcome: Outcome, level: str, subset: str = ALL, month: float | None = None):
        """A group's own quoted number; None where it has none."""
        rows = self.rows(outcome, self.term(outcome.of_group, level, outcome, month), subset)
        rows = rows[rows["headline"].eq(True) & rows["estimate"].notna()]
        return rows.iloc[0] if outcome.of_group and len(rows) else None

    def contrast(self, outcome: Outcome, level: str, subset: str = ALL, month: float | None = None):
        """The quoted difference from the reference; None where there is none (`why`)."""
        if self.tied_to_years(level):
            return None
        rows = self.rows(outcome, self.term(DIFFERENCE, level, outcome, month), subset)
        rows = rows[rows["headline"].eq(True) & rows["conf_low"].notna()]
        return rows.iloc[0] if len(rows) else None

    def by(self, method: str, outcome: Outcome, level: str, subset: str = ALL, month: float | None = None):
        """A difference by one method; None where there is none, or none is quoted."""
        if self.contrast(outcome, level, subset, month) is None:
            return None
        rows = self.rows(outcome, self.term(DIFFERENCE, level, outcome, month), subset)
        rows = rows[rows["method"].eq(method) & rows["conf_low"].notna()]
        return rows.iloc[0] if len(rows) else None

    def why(self, outcome: Outcome, level: str, subset: str = ALL, month: float | None = None) -> str:
        """Why there is no difference to quote, in words."""
        if not self.recorded(outcome):
            return say("comparison.nothing_recorded")
        if self.tied_to_years(level):
            return say("comparison.tied_to_years", group=self.named(level), reference=self.named(self.reference))
        rows = self.rows(outcome, self.term(DIFFERENCE, level, outcome, month), subset)
        for method in (*self.asked["weights"], CRUDE):
            for _, row in rows[rows["method"].eq(method)].iterrows():
                for told in (row["problem"], row["note"]):
                    if not missing(told) and told:
                        return self.words.problem(str(told))
        return say("comparison.nothing_recorded")

    @property
    def compares(self) -> bool:
        """Whether any outcome has a difference to quote."""
        return any(
            self.contrast(OUTCOMES[name], level) is not None
            for name in dict.fromkeys((self.primary.name, *IN_REPORT))
            for level in self.others
        )

    # ── operators and years ─────────────────────────────────────────────────────────────────────────────────

    def shares_by(self, column: str, level: str) -> dict[str, float]:
        """Shares of a group's sites by operator or year, as far as it is known."""
        return self._shares.get((column, level), {})

    @cached_property
    def _shares(self) -> dict[tuple[str, str], dict[str, float]]:
        """Column and group -> shares; worked out once, as nearly every sentence asks for them."""
        found = {}
        for column in ("operator", "surgery_year"):
            known = self.entangled[~self.entangled[column].astype(str).eq(UNKNOWN)]
            counts = known.groupby([known["group"].astype(str), known[column].astype(str)])["n_sites"].sum()
            for level, of_level in counts.groupby(level=0):
                found[column, level] = (of_level / of_level.sum()).droplevel(0).to_dict()
        return found

    def shared(self, column: str, level: str) -> float | None:
        """How far a group and the reference meet: the sum over operators, or years, of the smaller of their shares."""
        one, other = self.shares_by(column, level), self.shares_by(column, self.reference)
        return sum(min(share, other.get(name, 0.0)) for name, share in one.items()) if one and other else None

    def tied_to_years(self, level: str) -> bool:
        """Whether a group and the reference were operated on in other years."""
        shared = self.shared("surgery_year", level)
        return shared is not None and shared <= YEARS_SHARED

    def tied(self, level: str) -> bool:
        """Whether a group cannot be told apart from its operators or its years."""
        return self.tied_to_years(level) or self._has_problem(level, "no_operator_of_both")

    def apart(self, level: str) -> bool:
        """Whether nothing is to be shown of a group beside the reference: it is tied, or a term separates the two."""
        return self.tied(level) or self._has_problem(level, "terms_separate_groups")

    def uneven(self, level: str) -> bool:
        """Whether operators are shared out over a group and the reference so unevenly that a row says so."""
        return any(self._has_problem(level, name) for name in ("operators_uneven", "operators_uneven_measured"))

    def _has_problem(self, level: str, name: str) -> bool:
        rows = self.results[self.results["term"].astype(str).str.startswith(f"difference[{level}]")]
        return any(name in names_in(str(problem)) for problem in rows["problem"] if not missing(problem))


@lru_cache(maxsize=1)
def comparison_of(material: Material) -> Comparison:
    """The comparison of a run."""
    asked = material.asked
    return Comparison(
        material.results, material.table(ENTANGLED), asked["comparison"], asked["survival_months"], material.words
    )


__all__ = ["ALL", "AS_DRILLED", "CRUDE", "G_COMPUTATION", "OUTCOMES", "Comparison", "Outcome", "comparison_of"]
