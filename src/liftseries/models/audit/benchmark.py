"""The series beside published ones: context, never a limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.logistic_normal import logistic_normal
from liftseries.models.audit.between import ADAPTIVE, POOLED, pooled_rows
from liftseries.models.audit.units import ONE_VIEW, audited
from liftseries.models.shared.results import Estimates, Fit, results_table
from liftseries.study.published import COLUMNS, published_counts

ANALYSIS = "audit.benchmark"
PERCENTILE = "percentile"
FEWEST = 5  # published series; below them the points alone


@dataclass(frozen=True)
class Benchmark(Estimates):
    """What published series come to.

    Attributes
    ----------
    published : the published counts, a row a series
    """

    published: pd.DataFrame


def fit_audit_benchmark(
    cases: pd.DataFrame, by: str, period: Sequence[int], expected: Mapping[str, Mapping], published=None
) -> Benchmark:
    """Published rates pooled, between which rates a further series lies, and where this one lies among them.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by, period, expected : see `audited`
    published : as `published_counts` gives it, which is taken where None is given

    Returns
    -------
    Benchmark
        `pooled`, `tau` on the log odds; `prediction_low`, `prediction_high` by t(k - 2); `percentile` of the series in
        the same distribution. n_sites and n_events are the published ones, those of `percentile` the series'.

    Source: see `logistic_normal`; the prediction: Higgins and others 2009, doi:10.1111/j.1467-985X.2008.00552.x.
    """
    audit = audited(cases, by, period, expected=expected)
    published = published_counts() if published is None else published
    events, denominator = (published[name].to_numpy(float) for name in ("events", "denominator"))
    note = remark("published_per_sinus")
    fit = Fit(ANALYSIS, "all", "", ADAPTIVE, int(denominator.sum()), 0, int(events.sum()), note=note)
    everyone = np.ones(len(audit.event), bool)
    place = Fit(ANALYSIS, "all", "probability", ADAPTIVE, **audit.counts(everyone), note=note)
    try:
        if len(published) < FEWEST:
            raise NotFitted(remark("too_few_published"))
        model = logistic_normal(events, denominator)
    except NotFitted as why:
        rows = [fit.row(term, scale=scale, problem=str(why)) for term, scale in POOLED.items()]
        rows.append(place.row(PERCENTILE, problem=str(why)))
    else:
        rows = pooled_rows(fit, model, FEWEST)
        few = audit.n_events < ONE_VIEW
        rows.append(
            place.row(PERCENTILE, problem=remark("below_gate_audit", n_events=audit.n_events))
            if few
            else place.row(PERCENTILE, model.place_of(audit.rate), df=model.n_units - 2, headline=True)
        )
    for row in rows[: len(POOLED)]:
        row["n_patients"] = None
    return Benchmark(results_table(rows), audit.left_out(ANALYSIS), published=published[list(COLUMNS)])
