"""The guard before every model of an event: do the terms tell events from the rest, so that no finite ratio exists?

A level without any event, or with nothing else, is told first. For anything else, numbers and combinations of terms, a
linear programme decides exactly, and its answer names the columns and the penalised analysis that stays finite. Most
data need no programme: a few steps of the fit lead to coefficients at which the score is so small that no separating
direction can exist (`_odds_overlap`, `_hazards_overlap` say why), which is a proof too, and quick at any size.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.special import expit

from liftseries.base.remarks import joined, remark
from liftseries.estimators.clusters import cluster_sums
from liftseries.estimators.cox import PartialLikelihood
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.design import INTERCEPT, Design
from liftseries.models.shared.results import Fit

LARGEST_COEFFICIENT = 15.0
PROVING_STEPS = 15  # of the fit, after which the programme is solved
SEE_FIRTH, SEE_FIRTH_COX = (remark("see", analysis=of) for of in ("perforation.firth", "survival.firth_cox"))
RANK = 1e-12  # of the largest eigenvalue: what is smaller is no direction of its own


def refuse_infinite_odds(design: Design, event: np.ndarray) -> None:
    """Raise NotFitted, naming term and level, where the data leave an odds ratio infinite.

    Parameters
    ----------
    design : with a constant
    event : shape (n_used,), true/false

    Source: Albert and Anderson 1984, doi:10.1093/biomet/71.1.1; as a linear programme Konis 2007 (thesis, Oxford).
    """
    event = np.asarray(event, bool)
    if len(event) == 0:
        raise NotFitted(remark("no_complete_case_with_perforation"))
    if not event.any():
        raise NotFitted(remark("no_perforation"))
    if event.all():
        raise NotFitted(remark("all_perforated"))
    if found := _level_where(design.factors, event, lambda n_events, n: n_events == 0):
        raise NotFitted(joined(remark("no_perforation_at_level", **found), SEE_FIRTH))
    if found := _level_where(design.factors, event, lambda n_events, n: n_events == n):
        raise NotFitted(joined(remark("all_perforated_at_level", **found), SEE_FIRTH))
    terms = separating_terms(design.matrix, design.names, event)
    if len(terms) == 1:
        raise NotFitted(joined(remark("term_separates_perforations", term=terms[0]), SEE_FIRTH))
    if terms:
        raise NotFitted(joined(remark("terms_separate_perforations", terms=terms), SEE_FIRTH))


def separating_terms(x: np.ndarray, names: tuple[str, ...], event: np.ndarray) -> list[str]:
    """The terms that tell events from the rest without overlap, alone or the fewest together; none where nothing does.

    `x`, shape (n, p), is of full rank, with a constant; `names`, its columns; `event`, shape (n,), true/false.
    """
    if _odds_overlap(x, event):
        return []
    # Sites alike in every term and in what happened are one constraint.
    rows = np.unique(np.column_stack([x, event]), axis=0)
    x, y = rows[:, :-1], rows[:, -1] > 0
    return _columns_that(lambda columns: _separates(x[:, columns], y), names)


def refuse_infinite_hazards(design: Design, months: np.ndarray, failed: np.ndarray) -> None:
    """Raise NotFitted, naming term and level, where the data leave a hazard ratio infinite.

    The partial likelihood has no maximum where some combination of the terms is, for every failure, as high as for each
    implant then at risk. Running maxima over the risk sets keep the programme linear in the number of implants.

    Parameters
    ----------
    design : without a constant
    months : shape (n_used,)
    failed : shape (n_used,), true/false

    Source: Bryson and Johnson 1981, doi:10.1080/00401706.1981.10487680 (from memory).
    """
    months, failed = np.asarray(months, float), np.asarray(failed, bool)
    refuse_levels_without_failure(design, failed)
    if not design.names:
        return
    # The last failure time at which each implant was at risk is all that its months tell a Cox model.
    last = np.searchsorted(np.unique(months[failed]), months, side="right") - 1
    at_risk = last >= 0
    x, last, failed = design.matrix[at_risk], last[at_risk], failed[at_risk]
    if _hazards_overlap(x, last, failed):
        return
    rows = np.unique(np.column_stack([x, last, failed]), axis=0)
    x, last, failed = rows[:, :-2], rows[:, -2].astype(int), rows[:, -1] > 0
    terms = _columns_that(lambda columns: _is_monotone(x[:, columns], last, failed), design.names)
    if len(terms) == 1:
        raise NotFitted(joined(remark("term_orders_failures", term=terms[0]), SEE_FIRTH_COX))
    if terms:
        raise NotFitted(joined(remark("terms_order_failures", terms=terms), SEE_FIRTH_COX))


def refuse_levels_without_failure(design: Design, failed: np.ndarray) -> None:
    """Raise NotFitted where nothing failed, or nothing at one level: no model of survival is finite there.

    The part of `refuse_infinite_hazards` that also holds for a model with a baseline of its own (Weibull): failures in
    the order of a number leave such a model a maximum.
    """
    if not failed.any():
        raise NotFitted(remark("no_failure"))
    if found := _level_where(design.factors, failed, lambda n_failed, n: n_failed == 0):
        raise NotFitted(joined(remark("no_failure_at_level", **found), SEE_FIRTH_COX))


def coefficient_row(fit: Fit, term: str, estimate: float, std_error: float) -> dict:
    """A coefficient with its interval, and a remark where its unit makes it a strange number."""
    return fit.wald_row(term, estimate, std_error, strange_unit(fit, term, estimate))


def strange_unit(fit: Fit, term: str, estimate: float) -> str:
    """Why a finite coefficient is beyond ±15; "" where it is not."""
    if not abs(estimate) > LARGEST_COEFFICIENT:
        return ""
    scale = fit.scale.replace("_", " ").replace("hazard", "hazards")
    name = "strange_intercept" if term == INTERCEPT else "strange_unit"
    return remark(name, limit=LARGEST_COEFFICIENT, scale=scale)


def _level_where(factors: dict[str, pd.Categorical], event: np.ndarray, holds) -> dict[str, str] | None:
    """The first column and level whose numbers of events and of sites hold; None where there is none."""
    for column, levels in factors.items():
        n = np.bincount(levels.codes, minlength=len(levels.categories))
        n_events = np.bincount(levels.codes, weights=event, minlength=len(levels.categories))
        found = np.flatnonzero((n > 0) & holds(n_events, n))
        if len(found):
            return {"column": column, "level": str(levels.categories[found[0]])}
    return None


def _columns_that(separate: Callable[[np.ndarray], bool], names: tuple[str, ...]) -> list[str]:
    """The first column that separates alone, else the fewest that do only together; none where nothing separates."""
    constant = np.array([name == INTERCEPT for name in names])
    if not separate(np.ones(len(names), bool)):
        return []
    columns = [name for name in names if name != INTERCEPT]
    for name in columns:
        if separate(constant | np.isin(names, [name])):
            return [name]
    # What can be left out while the rest still separates plays no part.
    needed = columns
    for name in columns:
        rest = [other for other in needed if other != name]
        if separate(constant | np.isin(names, rest)):
            needed = rest
    return needed


def _odds_overlap(x: np.ndarray, event: np.ndarray) -> bool:
    """Whether the first steps of a logistic fit prove that events and others overlap.

    Suppose g separates: with s = 1 for events and -1 for the others, s (x·g) ≥ 0 throughout and > 0 somewhere. At any
    coefficients, with r = |event - risk|, the log-likelihood then rises along g by Σ r |x·g| ≥ min(r) ‖X g‖. With
    orthonormal columns ‖X g‖ = ‖g‖, so the score would be at least min(r) long; where it is shorter there is no such g.
    """
    z = np.linalg.qr(x)[0]
    beta = np.zeros(x.shape[1])
    for _ in range(PROVING_STEPS):
        risk = expit(z @ beta)
        residual = event - risk
        score = residual @ z
        if np.linalg.norm(score) < np.abs(residual).min() / 2:  # half: rounding must not decide
            return True
        try:
            beta = beta + np.linalg.solve((z * (risk * (1 - risk))[:, None]).T @ z, score)
        except np.linalg.LinAlgError:
            return False
    return False


def _separates(x: np.ndarray, event: np.ndarray) -> bool:
    """Whether some g has s (x·g) ≥ 0 throughout and > 0 somewhere, s = 1 for events and -1 for the others.

    Σ s (x·g) is made as large as g within (-1, 1) allows. With columns of mean square 1 it is 0 where nothing separates
    and at least √n where something does, so that the solver's rounding cannot be mistaken for an answer.
    """
    from scipy.optimize import linprog

    n = len(x)
    rows = np.linalg.qr(x)[0] * np.sqrt(n) * np.where(event, 1.0, -1.0)[:, None]
    found = linprog(-rows.sum(axis=0), A_ub=-rows, b_ub=np.zeros(n), bounds=(-1, 1), method="highs")
    return found.status == 0 and -found.fun > np.sqrt(n) / 2


def _contrasts(x: np.ndarray, last: np.ndarray, failed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns z for which Σ ((z_i - z_j)·g)² = ‖g‖², and Σ (z_i - z_j): over failures i and all j at risk with them.

    Directions in which no failure differs from those at risk with it are left out: they tell nothing.
    """
    x = x - x.mean(axis=0)
    x = x / np.maximum(np.abs(x).max(axis=0), 1e-300)
    n_times, p = int(last.max()) + 1, x.shape[1]
    products = (x[:, :, None] * x[:, None, :]).reshape(len(x), p * p)
    moments = cluster_sums(last, n_times, np.column_stack([np.ones(len(x)), x, products]))
    moments = np.cumsum(moments[::-1], axis=0)[::-1][last[failed]]
    own, n_at_risk, sums, squares = x[failed], moments[:, :1], moments[:, 1 : p + 1], moments[:, p + 1 :]
    mixed = own.T @ sums
    values, directions = np.linalg.eigh((own * n_at_risk).T @ own - mixed - mixed.T + squares.sum(axis=0).reshape(p, p))
    kept = values > RANK * max(values[-1], 1e-300)
    turn = directions[:, kept] / np.sqrt(values[kept])
    return x @ turn, (n_at_risk * own - sums).sum(axis=0) @ turn


def _hazards_overlap(x: np.ndarray, last: np.ndarray, failed: np.ndarray) -> bool:
    """Whether the first steps of a Cox fit prove that its likelihood has a maximum.

    Suppose (x_i - x_j)·g ≥ 0 for every failure i and every j at risk with it, and > 0 somewhere. At any coefficients,
    with π the share of an implant in the hazard of those at risk, the log-likelihood (Breslow's or Efron's) then rises
    along g by Σ π_j (x_i - x_j)·g ≥ min(π) √Σ ((x_i - x_j)·g)². In the columns of `_contrasts` that is min(π) ‖g‖, so
    the score would be at least min(π) long; where it is shorter there is no such g.
    """
    z, _ = _contrasts(x, last, failed)
    if z.shape[1] == 0:
        return True
    efron = PartialLikelihood(last, failed, z)
    beta = np.zeros(z.shape[1])
    for _ in range(PROVING_STEPS):
        if np.abs(z @ beta).max() > 30:
            return False
        state = efron(beta)
        r = np.exp(z @ beta)
        lowest = np.full(int(last.max()) + 1, np.inf)
        np.minimum.at(lowest, last, r)
        lowest = np.minimum.accumulate(lowest[::-1])[::-1]
        at_risk = np.cumsum(np.bincount(last, weights=r)[::-1])[::-1]
        if np.linalg.norm(state.score) < (lowest / at_risk).min() / 2:
            return True
        try:
            beta = beta + np.linalg.solve(state.information, state.score)
        except np.linalg.LinAlgError:
            return False
    return False


def _is_monotone(x: np.ndarray, last: np.ndarray, failed: np.ndarray) -> bool:
    """Whether some g has (x_i - x_j)·g ≥ 0 for every failure i and every j at risk with it, and > 0 somewhere.

    `last` numbers the last failure time at which each was at risk; a failure's is its own. Unknowns besides g are M_t,
    no lower than the x·g of any implant at risk at time t; chained from time to time they need one constraint an
    implant.
    Σ (x_i - x_j)·g is made as large as g within (-1, 1) allows: 0, or at least the constant that the columns are scaled
    by, so that the solver's rounding cannot be mistaken for an answer.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, vstack

    z, gap = _contrasts(x, last, failed)
    n_terms, k = z.shape[1], int(last.max()) + 1
    if n_terms == 0:
        return False
    scale = np.sqrt(len(x) * failed.sum())
    z, gap = z * scale, gap * scale
    step = np.arange(k - 1)
    chain = csr_array(
        (np.repeat([-1.0, 1.0], k - 1), (np.r_[step, step], n_terms + np.r_[step, step + 1])),
        shape=(k - 1, n_terms + k),
    )  # the highest of fewer at risk is no higher: M of the next time - M ≤ 0
    constraints = vstack(
        [
            _constraint(z, last, k, -1.0),  # x·g - M ≤ 0 for those at risk
            _constraint(-z[failed], last[failed], k, 1.0),  # M - x·g ≤ 0 for a failure
            chain,
        ]
    )
    found = linprog(
        np.r_[-gap, np.zeros(k)],
        A_ub=constraints,
        b_ub=np.zeros(constraints.shape[0]),
        bounds=[(-1, 1)] * n_terms + [(None, None)] * k,
        method="highs",
    )
    return found.status == 0 and -found.fun > scale / 2


def _constraint(x: np.ndarray, time: np.ndarray, n_times: int, weight: float):
    """Rows x·g + weight M_time over the unknowns (g, M)."""
    from scipy.sparse import csr_array, hstack

    pick = csr_array((np.full(len(x), weight), (np.arange(len(x)), time)), shape=(len(x), n_times))
    return hstack([csr_array(x), pick])
