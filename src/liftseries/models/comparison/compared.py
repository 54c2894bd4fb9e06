"""Who is compared: the sites whose group, outcome and adjustment terms are all known, in all and as drilled."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.balancing import Weights, balancing_weights
from liftseries.estimators.clusters import cluster_codes
from liftseries.estimators.intervals import FEW_PATIENTS, NotFitted
from liftseries.estimators.multinomial import MultinomialFit, multinomial_logistic
from liftseries.models.shared.design import Design, count_reasons, design_matrix
from liftseries.models.shared.levels import as_levels, is_missing, levels_present
from liftseries.models.shared.results import Fit, left_out_table

ALL, AS_DRILLED = "all", "as_drilled=plan"


@dataclass(frozen=True)
class Asked:
    """What a comparison asks of the plan.

    Attributes
    ----------
    column : whose levels are the groups
    reference : the level that the others are compared with
    adjust_for : columns
    weights : methods of weighting; the first is the headline
    levels : that occur in the series, the reference first
    """

    column: str
    reference: str
    adjust_for: tuple[str, ...]
    weights: tuple[str, ...]
    levels: tuple[str, ...]

    @property
    def others(self) -> tuple[str, ...]:
        """The levels that are compared with the reference."""
        return tuple(level for level in self.levels if level != self.reference)

    @property
    def why_nothing(self) -> str:
        """Why nothing can be compared, whatever the outcome; "" where something can."""
        if not self.levels:
            return remark("no_group", column=self.column)
        if self.reference not in self.levels:
            return remark("reference_nowhere", column=self.column, reference=self.reference)
        return ""


def asked_of(
    cases: pd.DataFrame, groups: str, reference: str, adjust_for: Sequence[str], weights: Sequence[str]
) -> Asked:
    """The plan's comparison on these cases; a level that no site has is no group."""
    present = levels_present(as_levels(cases[groups])) if groups in cases else []
    first = [level for level in present if level == reference]
    levels = (*first, *(level for level in present if level != reference))
    return Asked(groups, reference, tuple(dict.fromkeys(adjust_for)), tuple(weights), levels)


@dataclass(frozen=True)
class Compared:
    """The population of an outcome.

    Attributes
    ----------
    asked
    subset : `all` or `as_drilled=plan`
    sites : one row a site used
    levels : of the groups that have a site among them, in the order of `asked`
    group : shape (n,), which of `levels` each is of
    design : X, with a constant
    reasons : shape (n_candidates,), why a site of the subset is not used, "" where it is
    order : all reasons that there may be
    """

    asked: Asked
    subset: str
    sites: pd.DataFrame
    levels: tuple[str, ...]
    group: np.ndarray
    design: Design
    reasons: np.ndarray
    order: tuple[str, ...]

    @cached_property
    def patient(self) -> np.ndarray:
        """Whose site each is, 0 … K - 1; shape (n,)."""
        return cluster_codes(self.sites["patient_id"])[0]

    @cached_property
    def n_patients(self) -> int:
        """K, patients of the population."""
        return self.sites["patient_id"].nunique()

    @property
    def df(self) -> int | None:
        """Of t, K - 1, below 50 patients."""
        return max(self.n_patients - 1, 1) if self.n_patients < FEW_PATIENTS else None

    def of(self, *levels: str) -> np.ndarray:
        """Sites of these groups, shape (n,), true/false."""
        return np.isin(self.levels, levels)[self.group] if self.levels else np.zeros(len(self.group), bool)

    def n_patients_of(self, sites: np.ndarray) -> int:
        """How many patients have one of some sites; `sites` has shape (n,), true/false."""
        return int(np.count_nonzero(np.bincount(self.patient[sites])))

    @cached_property
    def operator(self) -> np.ndarray:
        """Whose work each site is, numbered from 0, -1 where that is not known; shape (n,)."""
        code = np.full(len(self.sites), -1)
        if "operator" in self.sites:
            known = ~is_missing(self.sites["operator"])
            code[known] = pd.factorize(self.sites["operator"].astype(object)[known])[0]
        return code

    @cached_property
    def note(self) -> str:
        """What X lacks of the plan's terms."""
        lacks = (remark("not_adjusted_for", term=term, why=why) for term, why in self.design.problems.items())
        return joined(*lacks, *self.design.notes)

    def fit(
        self, analysis: str, scale: str, method: str, levels: Sequence[str], event: np.ndarray | None = None
    ) -> Fit:
        """What the rows of these groups share; `event` has shape (n,)."""
        used = self.of(*levels)
        return Fit(
            analysis=analysis,
            subset=self.subset,
            scale=scale,
            method=method,
            n_sites=int(used.sum()),
            n_patients=self.n_patients_of(used),
            n_events=None if event is None else int(event[used].sum()),
        )

    def left_out(self, analysis: str) -> pd.DataFrame:
        """The sites left out, as rows of `Estimates.left_out`."""
        counts = sorted(count_reasons(self.reasons), key=lambda reason: self.order.index(reason[0]))
        return left_out_table(analysis, self.subset, counts)

    # ── the propensity ──────────────────────────────────────────────────────────────────────────────────────

    @cached_property
    def _propensity(self) -> MultinomialFit | str:
        try:
            return multinomial_logistic(self.design.matrix, self.group, len(self.levels))
        except NotFitted as why:
            return str(why)

    @property
    def propensity(self) -> MultinomialFit:
        """Shares of the groups on X; raises NotFitted where there are none."""
        self.refuse_one_group()
        if isinstance(self._propensity, str):
            raise NotFitted(self._propensity)
        return self._propensity

    def weights(self, kind: str) -> Weights:
        """The weights of that kind; raises NotFitted where there are none."""
        return balancing_weights(kind, self.propensity, self.group)

    def refuse_one_group(self) -> None:
        """Raise NotFitted where fewer than two groups have a site here."""
        if len(self.levels) < 2:
            raise NotFitted(remark("one_group", column=self.asked.column))

    @cached_property
    def dummies(self) -> np.ndarray:
        """Columns that tell the groups from the first, shape (n, G - 1)."""
        return np.eye(max(len(self.levels), 1))[self.group][:, 1:]

    def why_empty(self, level: str) -> str:
        """Why nothing is said of a group that has no site here."""
        return remark("level_absent", column=self.asked.column, level=level)


def populations(
    table: pd.DataFrame, missing: Mapping[str, np.ndarray], asked: Asked, subsets: Sequence[str] = (ALL, AS_DRILLED)
) -> Iterator[Compared]:
    """The population of an outcome, in each subset.

    Parameters
    ----------
    table : one row a site that came so far
    missing : why the outcome of a site is not known -> at which sites, shape (n_sites,)
    asked
    subsets : ALL, AS_DRILLED
    """
    for subset in subsets:
        if subset == ALL:
            yield _population(table, missing, asked, subset)
            continue
        inside = table["as_drilled"].astype(object).eq("plan").to_numpy(bool)
        yield _population(table.loc[inside], {why: out[inside] for why, out in missing.items()}, asked, subset)


def _population(candidates: pd.DataFrame, missing: Mapping[str, np.ndarray], asked: Asked, subset: str) -> Compared:
    reasons = np.full(len(candidates), "", object)
    for why, out in missing.items():
        reasons[out & (reasons == "")] = why
    named = np.full(len(candidates), None, object)
    if asked.column in candidates:
        named = np.asarray(as_levels(candidates[asked.column]).astype(object))
    unknown = remark("label_unknown", column=asked.column)
    reasons[(pd.isna(named)) & (reasons == "")] = unknown
    known = reasons == ""
    terms = [term for term in asked.adjust_for if term in candidates]
    design = design_matrix(candidates.loc[known, terms], asked.adjust_for)
    reasons[known] = design.reasons
    used = reasons == ""
    levels = tuple(level for level in asked.levels if (named[used] == level).any())
    group = np.array([levels.index(level) for level in named[used]], int)
    sites = candidates.loc[used].reset_index(drop=True)
    labels = (remark("label_unknown", column=term) for term in asked.adjust_for)
    numbers = (remark("number_missing", column=term) for term in asked.adjust_for)
    return Compared(asked, subset, sites, levels, group, design, reasons, (*missing, unknown, *labels, *numbers))
