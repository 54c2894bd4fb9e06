"""What other libraries make of the same series: lifelines and statsmodels refit what they can, beside ours.

A library that fails or warns leaves a row that says so, never a failed run. Where its answer is known to differ, the
row says why; what differs beyond that is told as a problem.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.models.sensitivity import other_libraries as other
from liftseries.models.sensitivity.other_libraries import LIFELINES, STATSMODELS, Answer

COLUMNS = (
    "analysis",
    "method",
    "library",
    "n_compared",
    "estimate_difference",
    "error_difference",
    "reason",
    "problem",
)
# Sites of the largest series whose models are put to other libraries, which take a minute where ours take a second.
MOST_SITES = 5_000
TOLD = 1e-6  # a smaller relative difference is that of two searches for one number
# By how much estimates may differ, against themselves and their standard error, where nothing is wrong: closed forms,
# Newton's method, and a search that ends early (tests/against_r).
CLOSED, SEARCHED, STOPPED_EARLY = 1e-8, 1e-5, 1e-2
SANDWICH, JACKKNIFE = "sandwich", "infinitesimal_jackknife"
# Why standard errors differ.
INDEPENDENT = remark("implants_independent")
NO_EFRON_WEIGHTS = remark("no_efron_weights")
JOINT_HESSIAN = remark("joint_hessian")


@dataclass(frozen=True)
class Opinion:
    """One library's answer to one question.

    Attributes
    ----------
    analysis, method : of our rows that it is compared with
    library
    asks : our rows by term -> its answer
    within : see `CLOSED`
    reason : why the standard errors differ; empty where they do not
    """

    analysis: str
    method: str
    library: str
    asks: Callable[[pd.DataFrame], Answer]
    within: float
    reason: str = ""


def fit_second_opinion(
    cases: pd.DataFrame,
    implants: pd.DataFrame,
    visits: pd.DataFrame,
    perforation_terms: Sequence[str],
    survival_terms: Sequence[str],
    gain_terms: Sequence[str],
    rates: pd.DataFrame,
    odds: pd.DataFrame,
    curve: pd.DataFrame,
    incidence: pd.DataFrame,
    hazards: pd.DataFrame,
    times: pd.DataFrame,
    gain: pd.DataFrame,
) -> pd.DataFrame:
    """How far the libraries' answers lie from ours.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    implants : one row an implant, as `follow_up()` gives it
    visits : the contract's visits
    perforation_terms, survival_terms, gain_terms : as the models of ours were asked for
    rates, odds, curve, incidence, hazards, times, gain : our rows of results.csv

    Returns
    -------
    one row an opinion, columns COLUMNS
        The largest relative differences of estimate and standard error over the rows compared (`n_compared`), NaN where
        there is nothing to compare; of an interval without a standard error the second is that of its half length.
        Above MOST_SITES sites closed forms alone are asked for, and the other rows say so.
    """
    rows = pd.concat([rates, odds, curve, incidence, hazards, times, gain], ignore_index=True)
    opinions = opinions_on(cases, implants, visits, perforation_terms, survival_terms, gain_terms)
    told = [
        unasked(one, len(cases)) if one.within != CLOSED and len(cases) > MOST_SITES else compared(one, rows)
        for one in opinions
    ]
    return pd.DataFrame(told, columns=list(COLUMNS))


def opinions_on(cases, implants, visits, perforation_terms, survival_terms, gain_terms) -> Iterator[Opinion]:
    """What is asked of whom; lifelines is not asked for Aalen-Johansen, as it moves tied times at random."""

    def on_implants(function, *terms):
        return lambda ours: function(implants, *terms, ours)

    yield Opinion("perforation.rate", "wilson", STATSMODELS, other.wilson, CLOSED)
    yield Opinion("survival.km", JACKKNIFE, LIFELINES, on_implants(other.kaplan_meier), CLOSED)
    yield Opinion("survival.km", JACKKNIFE, STATSMODELS, on_implants(other.greenwood), CLOSED, INDEPENDENT)
    yield Opinion("survival.competing", JACKKNIFE, STATSMODELS, on_implants(other.incidence), CLOSED, INDEPENDENT)
    cox, phreg, weibull = (on_implants(one, survival_terms) for one in (other.cox, other.phreg, other.weibull))
    yield Opinion("survival.cox", SANDWICH, LIFELINES, cox, SEARCHED, NO_EFRON_WEIGHTS)
    yield Opinion("survival.cox", SANDWICH, STATSMODELS, phreg, SEARCHED, NO_EFRON_WEIGHTS)
    yield Opinion("survival.interval", "weibull", LIFELINES, weibull, STOPPED_EARLY, INDEPENDENT)
    yield Opinion(
        "perforation.gee", SANDWICH, STATSMODELS, lambda ours: other.gee(cases, perforation_terms, ours), SEARCHED
    )
    yield Opinion(
        "gain.mixed",
        "reml",
        STATSMODELS,
        lambda _: other.mixed(visits, cases, gain_terms),
        STOPPED_EARLY,
        JOINT_HESSIAN,
    )


def unasked(opinion: Opinion, n_sites: int) -> dict:
    """The row of a model that is not asked for."""
    row = dict.fromkeys(COLUMNS, "") | {"n_compared": 0, "estimate_difference": np.nan, "error_difference": np.nan}
    told = remark("too_large_for_library", library=opinion.library, n_sites=n_sites, most=MOST_SITES)
    return row | {"analysis": opinion.analysis, "method": opinion.method, "library": opinion.library, "problem": told}


def compared(opinion: Opinion, rows: pd.DataFrame) -> dict:
    """One row of the table."""
    chosen = rows[rows["analysis"].eq(opinion.analysis) & rows["subset"].eq("all") & rows["estimate"].notna()]
    ours = chosen[chosen["method"].eq(opinion.method)].set_index("term")
    row = {"analysis": opinion.analysis, "method": opinion.method, "library": opinion.library, "n_compared": 0}
    row |= {"estimate_difference": np.nan, "error_difference": np.nan, "reason": "", "problem": ""}
    if ours.empty:
        return row | {"problem": remark("no_estimate_to_compare")}
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            answer = opinion.asks(ours)
        except NotFitted as why:
            return row | {"problem": str(why)}
        except Exception as error:  # whatever a library raises is its own answer, not a fault of the run
            failed = remark("library_failed", library=opinion.library, error=type(error).__name__)
            return row | {"problem": failed}
    theirs = pd.DataFrame.from_dict(answer, orient="index", columns=["estimate", "std_error"])
    theirs = theirs.reindex(ours.index).astype(float)
    known = np.isfinite(theirs["estimate"].to_numpy())
    if not known.any():
        return row | {"problem": remark("library_failed", library=opinion.library, error="NaN")}
    ours = ours.assign(std_error=ours["std_error"].fillna((ours["conf_high"] - ours["conf_low"]) / 2))
    estimate, error = (relative(theirs[name], ours[name].astype(float)) for name in ("estimate", "std_error"))
    room = opinion.within * (ours["estimate"].abs() + ours["std_error"].fillna(0.0)).astype(float)
    apart = ((theirs["estimate"] - ours["estimate"].astype(float)).abs() > room).any()
    warned = sorted({one.category.__name__ for one in said})
    problem = joined(
        remark("library_differs", library=opinion.library) if apart else "",
        remark("library_warned", library=opinion.library, warnings=warned) if warned else "",
    )
    early = estimate > TOLD and opinion.within == STOPPED_EARLY
    reasons = [
        remark("search_ends_early") if early else "",
        opinion.reason if error > TOLD else "",
    ]
    return row | {
        "n_compared": int(known.sum()),
        "estimate_difference": estimate,
        "error_difference": error,
        "reason": joined(*reasons),
        "problem": problem,
    }


def relative(theirs: pd.Series, ours: pd.Series) -> float:
    """The largest difference against ours; NaN where no pair is known."""
    apart = (theirs - ours).abs().to_numpy()
    against = ours.abs().to_numpy()
    share = np.where(apart == 0, 0.0, apart / np.where(against > 0, against, 1.0))
    return float(np.nanmax(share)) if np.isfinite(share).any() else np.nan
