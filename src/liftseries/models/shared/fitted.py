"""A fitted model as whoever refits it needs it: formula, levels, covariance, and which sites it stands on.

Formulas are R's; the columns stand in clean/ and derived/ under the same names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.models.shared.design import INTERCEPT, Design, columns_of
from liftseries.models.shared.levels import levels_present

BETWEEN_LEVELS, BETWEEN_COLUMNS = " | ", "; "

# What is on the left of a formula, and how the model is fitted.
PERFORATED = '(perforation == "yes")'
FAILED = "Surv(months, failed)"
FAILED_BETWEEN = 'Surv(interval_left, interval_right, type = "interval2")'
GEE = "binomial, logit; {correlation} within patient_id"
FIRTH = "binomial, logit; Firth's penalty"
COX = "Cox, Efron ties; clustered in patient_id"
FIRTH_COX = "Cox, Efron ties; Firth's penalty"
WEIBULL = "Weibull; clustered in patient_id"
REML = "gaussian; REML"


COLUMNS = {
    "formula": ("model", "method", "formula", "family", "levels", "n"),
    "covariance": ("term",),
    "used": ("site_id", "used", "why_not"),
}


@dataclass(frozen=True)
class FittedModel:
    """A model behind rows of results.csv.

    Attributes
    ----------
    name : the analysis, with the method where several of its models are fitted
    method : of the rows whose standard errors the covariance gives
    formula, family : as R writes them; how it is fitted, in a few words
    levels : `column: reference | level | …`, with "; " between columns
    n : observations that it stands on
    terms : shape (p,), one a coefficient
    covariance : shape (p, p); None where there is no estimate
    why_not : site -> why it is not used, "" where it is
        Sites that never came so far, for want of an implant or a visit, are not among them.
    """

    name: str
    method: str
    formula: str
    family: str
    levels: str
    n: int
    terms: tuple[str, ...]
    covariance: np.ndarray | None
    why_not: pd.Series

    def formula_table(self) -> pd.DataFrame:
        """Its row of models/formula.csv."""
        row = self.name, self.method, self.formula, self.family, self.levels, self.n
        return pd.DataFrame([row], columns=COLUMNS["formula"])

    def covariance_table(self) -> pd.DataFrame:
        """`term`, then a column a term; no row where there is no estimate."""
        if self.covariance is None:
            return pd.DataFrame(columns=["term", *self.terms])
        table = pd.DataFrame(self.covariance, columns=list(self.terms))
        table.insert(0, "term", self.terms)
        return table

    def tables(self) -> dict[str, pd.DataFrame]:
        """All three, by the part that they are."""
        parts = self.formula_table(), self.covariance_table(), self.used_table()
        return dict(zip(COLUMNS, parts, strict=True))

    def used_table(self) -> pd.DataFrame:
        """The sites that came so far, in the order of the table."""
        used = self.why_not.eq("").to_numpy(bool)
        return pd.DataFrame({"site_id": self.why_not.index, "used": used, "why_not": self.why_not.to_numpy()})


def fitted_model(
    name: str,
    method: str,
    outcome: str,
    family: str,
    design: Design,
    why_not: pd.Series,
    covariance: np.ndarray | None,
    *,
    random: str = "",
    further: Sequence[str] = (),
) -> FittedModel:
    """A model on a design.

    Parameters
    ----------
    name, method, family, covariance, why_not : see `FittedModel`
    outcome : the left side of the formula
    design
    random : its random part, in lme4's words
    further : parameters after the design's
    """
    columns = list(dict.fromkeys(name.partition("[")[0] for name in design.names if name != INTERCEPT))
    right = [*map(_quoted, columns), *filter(None, [random])]
    return FittedModel(
        name=name,
        method=method,
        formula=f"{outcome} ~ {' + '.join(right) or '1'}",
        family=family,
        levels=BETWEEN_COLUMNS.join(_levels(column, design) for column in columns if column in design.factors),
        n=len(design.matrix),
        terms=(*design.names, *further),
        covariance=covariance,
        why_not=why_not,
    )


def random_intercepts(patient: bool, site: bool) -> str:
    """The random part of a mixed model with intercepts for the patient, for the site within the patient, or both."""
    units = {(True, True): "patient_id/site_id", (True, False): "patient_id", (False, True): "site_id"}
    return f"(1 | {units[patient, site]})" if patient or site else ""


def why_not_used(table: pd.DataFrame, reasons: np.ndarray) -> pd.Series:
    """Site -> reason; a table without names of sites counts them."""
    names = table["site_id"].astype(str) if "site_id" in table else pd.Series(range(len(table)), dtype=str)
    return pd.Series(reasons, index=names.to_numpy(object), dtype=object)


def _quoted(column: str) -> str:
    return column if column.isidentifier() and not column.startswith("_") else f"`{column}`"


def _levels(column: str, design: Design) -> str:
    """The levels in the model, the one that the others are compared with first."""
    values = design.factors[column]
    present = levels_present(values)
    compared = {name[len(column) + 1 : -1] for name in columns_of(column, values, np.ones(len(values), bool))[0]}
    ordered = sorted(present, key=lambda level: (level in compared, present.index(level)))
    return f"{column}: {BETWEEN_LEVELS.join(ordered)}"
