"""A model on completed sets, pooled: what the perforation and the survival model share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.rubin import pooled
from liftseries.models.shared.design import Design
from liftseries.models.shared.imputation import MODEL_COLUMNS
from liftseries.models.shared.results import NO_STD_ERROR, ZERO_STD_ERROR, Estimates, Fit, results_table
from liftseries.models.shared.separation import coefficient_row

DRAWS = ("set", "term", "estimate", "variance", "naive_variance", "problem")
METHOD = "pooled"
LEAST_DF = 1.0  # below it an interval by t spans everything


@dataclass(frozen=True)
class ImputedEstimates(Estimates):
    """Pooled coefficients, and how the missing values were filled in.

    Attributes
    ----------
    models : `variable, level_of, n_missing, model, predictors`
    """

    models: pd.DataFrame


def set_rows(number: int, names: Sequence[str], model) -> list[tuple]:
    """One completed set's coefficients as rows of DRAWS."""
    found = zip(names, model.coefficients, model.std_error**2, model.naive_std_error**2, strict=True)
    return [(number, *one, "") for one in found]


def pooled_estimates(
    fit: Fit, design: Design, draws: pd.DataFrame, models: pd.DataFrame, left_out: pd.DataFrame, why_not: str = ""
) -> ImputedEstimates:
    """Pool the sets' coefficients, a row a term.

    Parameters
    ----------
    fit : what the rows share; its note is that of the model that was pooled
    design : of a completed set; of the complete cases where nothing was imputed
    draws : columns DRAWS, all chunks
    models : what was imputed
    left_out : the sites left out, as in `Estimates`
    why_not : why nothing was imputed, "" where it was
    """
    n_sets = draws["set"].nunique()
    problems = [text for text in dict.fromkeys(draws["problem"].fillna("")) if text]
    if not why_not and problems:
        failed = draws.loc[draws["problem"].fillna("").ne(""), "set"].nunique()
        why_not = remark("imputed_sets_not_fitted", n_sets=failed, of=n_sets, why=problems[0])
    if not why_not and n_sets < 2:
        why_not = remark("too_few_imputed_sets")
    if why_not:
        rows = [fit.row(term, problem=why_not) for term in design.terms()]
        return ImputedEstimates(results_table(rows), left_out, models=models)
    rows, effects = [], []
    fit = replace(fit, note=joined(remark("imputations", n_sets=n_sets), fit.note, *design.notes))
    names = list(dict.fromkeys(draws["term"]))
    df_complete = max(fit.n_patients - len(names), 1)
    for term in names:
        of_term = draws[draws["term"].eq(term)]
        if len(of_term) < n_sets:
            problem = remark("term_follows_when_imputed", term=term, n_sets=n_sets - len(of_term), of=n_sets)
            rows.append(fit.row(term, problem=problem))
            continue
        if not (of_term["variance"] > NO_STD_ERROR**2).all():
            rows.append(fit.row(term, problem=ZERO_STD_ERROR))
            continue
        found = pooled(of_term["estimate"], of_term["variance"], df_complete)
        if found.df < LEAST_DF:
            problem = remark("imputed_sets_disagree")
            rows.append(fit.row(term, problem=problem))
            continue
        share = remark("missing_information", percent=100 * found.missing_information)
        own = replace(fit, df=found.df, note=joined(fit.note, share))
        rows.append(coefficient_row(own, term, found.estimate, found.std_error))
        alone = pooled(of_term["estimate"], of_term["naive_variance"], df_complete)
        effects += own.design_effect_rows([term], [found.std_error], [alone.std_error])
    rows += [fit.row(term, problem=why) for term, why in design.problems.items() if term not in names]
    return ImputedEstimates(results_table(rows), left_out, design_effects=results_table(effects), models=models)


def no_models() -> pd.DataFrame:
    """An empty table of imputation models."""
    return pd.DataFrame(columns=list(MODEL_COLUMNS))


def draws_table(rows: list[tuple]) -> pd.DataFrame:
    """Rows of DRAWS as a table."""
    return pd.DataFrame(rows, columns=list(DRAWS))


def refuse_nothing_missing(table: pd.DataFrame, models: pd.DataFrame, targets: Sequence[str]) -> None:
    """Raise NotFitted where no target has a missing value: imputing what only helps would change nothing but noise."""
    if len(table) == 0:
        raise NotFitted(remark("nothing_to_impute_for"))
    if not set(targets) & set(models["variable"]):
        raise NotFitted(remark("nothing_missing"))
