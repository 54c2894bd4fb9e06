"""Who stands behind what is told of perforations.

| analysis | its numbers are worked out from |
|---|---|
| perforation.rate, sensitivity.detection | sites known and sites perforated: exact functions of the two |
| perforation.rate, one-sided | sites known and their patients |
| the models of terms | see `models.shared.behind` |
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liftseries.disclosure.declared import Behind, Counted, behind_estimate
from liftseries.models.perforation.risk import EXPOSURES, terms_along, terms_by_band
from liftseries.models.shared.behind import Row, behind_model, by_reason, imputed_values, level_unknown
from liftseries.models.shared.complete_cases import perforation_data
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN
from liftseries.models.shared.population import Population

EXPOSURE_OF = {analysis: exposure for exposure, analysis in EXPOSURES.items()}


def rate(p: Population, row: Row) -> Behind:
    """Sites of a subset whose perforation is known, and those perforated."""
    used = p.subset(row.subset) & p.perforation_known
    events = used & p.perforated
    away = (Counted(used), Counted(events), *((Counted(used, "patients"),) if row.one_sided else ()))
    return behind_estimate(used, events, gives_away=away, recorded=True)


def model(p: Population, row: Row) -> Behind:
    """Complete cases of the plan's terms."""
    return _model(p, row, p.plan["perforation_terms"])


def validation(p: Population, row: Row) -> Behind:
    """The same, of a subset."""
    return _model(p, row, p.plan["perforation_terms"], p.subset(row.subset))


def along_exposure(p: Population, row: Row) -> Behind:
    """Complete cases of the model with a measure as a spline."""
    return _model(p, row, terms_along(EXPOSURE_OF[row.analysis], p.plan["perforation_terms"]))


def nonlinearity(p: Population, row: Row) -> Behind:
    """The same; the term is the measure."""
    return _model(p, row, terms_along(row.term, p.plan["perforation_terms"]))


def band(p: Population, row: Row) -> Behind:
    """Complete cases of the model with bands."""
    return _model(p, row, terms_by_band(p.plan["perforation_terms"]))


def difference(p: Population, row: Row) -> Behind:
    """Complete cases of the model that a contrast (`rbh_mid_mm: 7 to 4`) is read off."""
    column, terms = row.term.partition(":")[0], p.plan["perforation_terms"]
    return _model(p, row, terms_along(column, terms) if column in EXPOSURES else terms)


def imputed(p: Population, row: Row) -> Behind:
    """Sites whose perforation is known, whatever else is missing."""
    terms = p.plan["perforation_terms"]
    return behind_model(p, p.perforation_known, p.perforated, terms, row.term, recorded=True)


def imputation(p: Population, row) -> Behind | None:
    """Values imputed among the sites whose perforation is known."""
    return imputed_values(p, row, p.perforation_known)


def rate_left_out(p: Population, subset: str) -> dict[str, Counted]:
    """Sites whose perforation is unknown, or their level."""
    unknown = Counted(~p.perforation_known & p.subset(subset), recorded=True)
    return level_unknown(p, subset, p.everyone) | {PERFORATION_UNKNOWN: unknown}


def model_left_out(p: Population, subset: str) -> dict[str, Counted]:
    """Sites that are no complete cases of the plan's terms."""
    return _left_out(p, p.plan["perforation_terms"])


def risk_left_out(p: Population, subset: str) -> dict[str, Counted]:
    """The same of the model along residual height."""
    return _left_out(p, terms_along("rbh_mid_mm", p.plan["perforation_terms"]))


def risk_lift_left_out(p: Population, subset: str) -> dict[str, Counted]:
    """The same of the model along planned lift."""
    return _left_out(p, terms_along("protrusion_mm", p.plan["perforation_terms"]))


def _left_out(p: Population, terms: Sequence[str]) -> dict[str, Counted]:
    return by_reason(_complete_cases(p, terms)[1]) | rate_left_out(p, "all")


def _model(p: Population, row: Row, terms: Sequence[str], among: np.ndarray | None = None) -> Behind:
    used = _complete_cases(p, terms)[0]
    used = used if among is None else used & among
    return behind_model(p, used, used & p.perforated, terms, row.term, recorded=True)


def _complete_cases(p: Population, terms: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Sites used, and why another of known perforation is not ("" elsewhere); both of shape (n_sites,)."""

    def work_out():
        design = perforation_data(p.cases, terms).design
        used, reasons = np.zeros(p.n_sites, bool), np.full(p.n_sites, "", object)
        used[p.perforation_known], reasons[p.perforation_known] = design.used, design.reasons
        return used, reasons

    return p.once(("perforation", *terms), work_out)
