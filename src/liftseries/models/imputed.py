"""A model on completed sets, pooled: what the perforation and the survival model share."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from liftseries.models.estimators.rubin import pooled
from liftseries.models.imputation import MODEL_COLUMNS
from liftseries.models.tidy import Estimates, Fit, NotFitted, left_out_table, results_table

DRAWS = ("set", "term", "estimate", "variance", "naive_variance", "problem")
NOTHING_MISSING = "nothing is missing among the terms, so the complete cases are all"


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
    fit: Fit, terms: Sequence[str], draws: pd.DataFrame, models: pd.DataFrame, why_not: str = ""
) -> ImputedEstimates:
    """Pool the sets' coefficients, a row a term.

    Parameters
    ----------
    fit : what the rows share; its method and df are replaced
    terms : the rows owed to the reader where nothing can be pooled
    draws : columns DRAWS, all chunks
    models : what was imputed
    why_not : why nothing was imputed, "" where it was
    """
    n_sets = draws["set"].nunique()
    problems = [text for text in dict.fromkeys(draws["problem"].fillna("")) if text]
    if not why_not and not len(models):
        why_not = NOTHING_MISSING
    if not why_not and problems:
        failed = draws.loc[draws["problem"].fillna("").ne(""), "set"].nunique()
        why_not = f"{failed} of {n_sets} imputed sets have no finite answer: {problems[0]}"
    if not why_not and n_sets < 2:
        why_not = "fewer than two sets were imputed"
    left_out = left_out_table(fit.analysis, "all", [])
    if why_not:
        rows = [fit.row(term, problem=why_not) for term in terms]
        return ImputedEstimates(results_table(rows), left_out, models=models)
    rows, effects = [], []
    names = list(dict.fromkeys(draws["term"]))
    df_complete = max(fit.n_patients - len(names), 1)
    for term in names:
        of_term = draws[draws["term"].eq(term)]
        found = pooled(of_term["estimate"], of_term["variance"], df_complete)
        method = (
            f"{n_sets} imputations by chained equations, Rubin's rules, Barnard-Rubin df; "
            f"missing information {100 * found.missing_information:.1f} %"
        )
        own = Fit(**{**vars(fit), "df": found.df, "method": "; ".join([method, *filter(None, [fit.method])])})
        rows.append(own.wald_row(term, found.estimate, found.std_error))
        alone = pooled(of_term["estimate"], of_term["naive_variance"], df_complete)
        effects += own.design_effect_rows([term], [found.std_error], [alone.std_error])
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
        raise NotFitted("no site is there to impute for")
    if not set(targets) & set(models["variable"]):
        raise NotFitted(NOTHING_MISSING)
