"""What goes with a perforation where events are few: Firth-penalised odds, which stay finite under separation."""

from collections.abc import Sequence

import pandas as pd

from liftseries.estimators.firth import MOST_GROUPS, firth_logistic, firth_logistic_jackknife
from liftseries.estimators.intervals import NotFitted, few_patients_df
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.penalised import jackknife_effects, jackknife_rows, profile_rows
from liftseries.models.shared.results import Estimates, Fit, results_table

ANALYSIS = "perforation.firth"


def fit_perforation_firth(cases: pd.DataFrame, terms: Sequence[str]) -> Estimates:
    """Penalised log odds of a perforation on the plan's terms.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`

    Returns
    -------
    Estimates
        Two rows a term on the scale `log_odds`: `profile`, whose interval and p-value come from the penalised
        likelihood and take sites as independent, and `jackknife`, whose standard error comes from leaving patients out.

    Source: see `firth_logistic` and `firth_logistic_jackknife`.
    """
    data = perforation_data(cases, terms)
    design = data.design
    shared = {"analysis": ANALYSIS, "subset": "all", "scale": "log_odds", **data.counts}
    grouped = [f"whole patients left out in {MOST_GROUPS} groups"] if shared["n_patients"] > MOST_GROUPS else []
    profile = Fit(method="; ".join(["profile", *design.notes]), **shared)
    jackknife = Fit(
        method="; ".join(["jackknife", *grouped, *design.notes]),
        df=few_patients_df(shared["n_patients"], len(design.names)),
        **shared,
    )
    try:
        if len(data.event) == 0:
            raise NotFitted("no site has its perforation and all terms recorded")
        if data.event.all() or not data.event.any():
            which = "every" if data.event.all() else "no"
            raise NotFitted(f"{which} site used was perforated, so nothing tells the terms apart")
        if len(data.event) <= len(design.names):
            raise NotFitted(f"too few sites ({len(data.event)}) for {len(design.names)} coefficients")
        model = firth_logistic(design.matrix, data.event)
    except NotFitted as why:
        rows = [*data.empty_rows(profile, str(why)), *data.empty_rows(jackknife, str(why))]
        return Estimates(results_table(rows), data.left_out(ANALYSIS))

    try:
        if shared["n_patients"] <= len(design.names):
            raise NotFitted(f"too few patients ({shared['n_patients']}) for {len(design.names)} coefficients")
        left_one_out = firth_logistic_jackknife(design.matrix, data.event, data.patient, model.coefficients)
        rows = jackknife_rows(jackknife, design.names, model.coefficients, left_one_out)
    except NotFitted as why:
        rows = [
            jackknife.row(term, b, problem=str(why)) for term, b in zip(design.names, model.coefficients, strict=True)
        ]
    effects = jackknife_effects(jackknife, rows, model)
    rows = [*profile_rows(profile, design.names, model), *rows]
    rows += [fit.row(term, problem=why) for fit in (profile, jackknife) for term, why in design.problems.items()]
    return Estimates(results_table(rows), data.left_out(ANALYSIS), design_effects=results_table(effects))
