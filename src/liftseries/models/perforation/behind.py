"""Who stands behind what is told of perforations.

| analysis | its numbers are worked out from |
|---|---|
| perforation.rate, sensitivity.detection | sites known and sites perforated: exact functions of the two |
| the same, `patients` | and the number of patients, where it bounds or only one patient has an event |
| the models of terms | see `models.shared.behind` |
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.perforation.firth import ANALYSIS, FIRST_TERMS
from liftseries.models.perforation.quoted import quoted_model
from liftseries.models.perforation.rate import ANALYSIS as RATE
from liftseries.models.perforation.rate import CLUSTER, PATIENTS
from liftseries.models.perforation.risk import EXPOSURES, terms_along, terms_by_band
from liftseries.models.perforation.ways import FIRTH, GEE
from liftseries.models.shared.behind import Row, behind_model, behind_share
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.population import Population

EXPOSURE_OF = {analysis: exposure for exposure, analysis in EXPOSURES.items()}


def rate(p: Population, row: Row) -> Behind:
    """Sites of a subset whose perforation is known, and those perforated."""
    used = p.subset(row.subset) & p.perforation_known
    events = used & p.perforated
    if row.method == PATIENTS:
        behind = behind_share(p, used, events)
        return behind if row.analysis == RATE else replace(behind, share=False)  # divided by what is noticed
    same = row.analysis == RATE and row.method != CLUSTER  # the same share by other intervals
    return behind_estimate(used, events, gives_away=(Counted(used), Counted(events)), share=same)


def model(p: Population, row: Row) -> Behind:
    """Complete cases of the plan's terms, or of those that are quoted where it is a model of the first ones.

    An E-value names the analysis alone, and is that of the quoted row.
    """
    terms = p.plan["perforation_terms"]
    if row.method == FIRST_TERMS or (not row.method and row.analysis == ANALYSIS):
        return _model(p, row, _quoted(p, terms, "" if row.method else row.term.partition("[")[0]))
    return _model(p, row, terms)


def _quoted(p: Population, terms: Sequence[str], column: str) -> Sequence[str]:
    """The terms of the model that is quoted."""
    return p.once(("quoted", column, *terms), lambda: quoted_model(p.cases, terms, column)).terms


def validation(p: Population, row: Row) -> Behind:
    """The same, of a subset."""
    return _model(p, row, p.plan["perforation_terms"], p.subset(row.subset))


def along_exposure(p: Population, row: Row) -> Behind:
    """Complete cases of the quoted model, or of that with a measure as a spline."""
    return _model(p, row, _terms_of_risk(p, row, EXPOSURE_OF[row.analysis]))


def _terms_of_risk(p: Population, row: Row, column: str) -> Sequence[str]:
    terms = p.plan["perforation_terms"]
    along = terms_along(column, terms) if column in EXPOSURES else terms
    if row.method not in (FIRTH, GEE):
        return along
    return _quoted(p, terms if column in terms else along, column)


def nonlinearity(p: Population, row: Row) -> Behind:
    """The same; the term is the measure."""
    return _model(p, row, terms_along(row.term, p.plan["perforation_terms"]))


def band(p: Population, row: Row) -> Behind:
    """Complete cases of the model with bands."""
    terms = terms_by_band(p.plan["perforation_terms"])
    return _model(p, row, _quoted(p, terms, "rbh_band") if row.method in (FIRTH, GEE) else terms)


def difference(p: Population, row: Row) -> Behind:
    """Complete cases of the model that a contrast (`rbh_mid_mm: 7 to 4`) is read off."""
    return _model(p, row, _terms_of_risk(p, row, row.term.partition(":")[0]))


def imputed(p: Population, row: Row) -> Behind:
    """Sites whose perforation is known, whatever else is missing."""
    terms = p.plan["perforation_terms"]
    return behind_model(p, p.perforation_known, p.perforated, terms, row.term)


def _model(p: Population, row: Row, terms: Sequence[str], among: np.ndarray | None = None) -> Behind:
    used = _complete_cases(p, terms)[0]
    used = used if among is None else used & among
    return behind_model(p, used, used & p.perforated, terms, row.term)


def _complete_cases(p: Population, terms: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Sites used, and why another of known perforation is not ("" elsewhere); both of shape (n_sites,)."""

    def work_out():
        design = perforation_data(p.cases, terms).design
        used, reasons = np.zeros(p.n_sites, bool), np.full(p.n_sites, "", object)
        used[p.perforation_known], reasons[p.perforation_known] = design.used, design.reasons
        return used, reasons

    return p.once(("perforation", *terms), work_out)
