"""Which perforation model the report quotes: the plan's, or as many of its first terms as the events carry.

Below 500 events it is Firth's; from there on the GEE, where it has a finite answer. Below the gates of `shared.gates`
no ratio is quoted at all, and what the plan's whole model says stays in results.csv.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.estimators.gee import GeeFit, logistic_gee
from liftseries.estimators.intervals import NotFitted
from liftseries.models.shared.complete_cases import PerforationData, perforation_data
from liftseries.models.shared.gates import MANY_EVENTS, ratio_gate
from liftseries.models.shared.penalised import quoted_gate
from liftseries.models.shared.separation import refuse_infinite_odds

GEE, FIRTH = "perforation.gee", "perforation.firth"


@dataclass(frozen=True)
class Quoted:
    """The model whose ratio of a term is quoted.

    Attributes
    ----------
    terms : of the plan, in its order
    data : the complete cases of these terms
    gate : why its ratios are not quoted; "" where they are
    first_terms : whether they are only the first of the plan's
    """

    terms: tuple[str, ...]
    data: PerforationData
    gate: str
    first_terms: bool = False

    @cached_property
    def gee(self) -> GeeFit | None:
        """The GEE where it is what is quoted: from many events on, with a finite answer."""
        return None if self.gate or self.first_terms else gee_of_many_events(self.data)

    @property
    def firth_gate(self) -> str:
        """Why the penalised model is not quoted; "" where it is."""
        return self.gate or quoted_gate(*counted(self.data), instead=GEE if self.gee is not None else "")

    @property
    def gee_gate(self) -> str:
        """Why the GEE is not quoted; "" where it is."""
        return self.gate or ("" if self.gee is not None else remark("quoted_instead", analysis=FIRTH))


def whole_model(cases: pd.DataFrame, terms: Sequence[str]) -> Quoted:
    """The model of all terms, quoted or not."""
    data = perforation_data(cases, terms)
    return Quoted(tuple(dict.fromkeys(terms)), data, ratio_gate(*counted(data)))


def quoted_model(cases: pd.DataFrame, terms: Sequence[str], column: str = "") -> Quoted:
    """The model that is quoted: of all terms, or of the first of them that the events carry.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    terms : columns of `cases`
    column : which must be among the terms; where the first ones do without it, the whole model is given with its gate
    """
    whole = whole_model(cases, terms)
    if not whole.gate:
        return whole
    terms = whole.terms
    for n in range(len(terms) - 1, 0, -1):
        data = perforation_data(cases, terms[:n])
        n_events, n_terms = counted(data)
        if n_terms and not ratio_gate(n_events, n_terms):
            return Quoted(terms[:n], data, "", first_terms=True) if column in ("", *terms[:n]) else whole
    return whole


def gee_of_many_events(data: PerforationData) -> GeeFit | None:
    """The GEE of so many events that its errors hold; None where there are fewer, or it has no finite answer."""
    if data.event.sum() < MANY_EVENTS:
        return None
    try:
        refuse_infinite_odds(data.design, data.event)
        fit = logistic_gee(data.design.matrix, data.event, data.patient)
        fit.bias_reduced()
    except NotFitted:
        return None
    return fit


def counted(data: PerforationData) -> tuple[int, int]:
    """How many events, and how many coefficients, the constant aside."""
    return int(data.event.sum()), max(len(data.design.names) - 1, 0)
