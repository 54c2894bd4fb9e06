"""Who stands behind what is told of bone and stability.

| an analysis | its numbers are worked out from |
|---|---|
| the mixed models | no count exactly; they rest on each level's sites |
| a mean at a month | the sites measured around it |
| bone.marginal, a share at a month | those, and those beyond the limit: exact functions of the two |
| stability, quartiles | no count exactly; they rest on the sites up to the value, and on those above it |
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.disclosure.declared import MANY_PATIENTS, Behind, Counted, behind_estimate
from liftseries.models.gain.marginal import TERMS, beyond, marginal_at_visits, marginal_reasons
from liftseries.models.gain.mixed import NO_BONE_HEIGHT
from liftseries.models.gain.recalls import nearest_recall, nearest_visits, reasons_of_sites
from liftseries.models.gain.stability import COLUMNS, QUARTILES, stability_known
from liftseries.models.shared.behind import Row, behind_model, behind_share
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.population import Population


def mixed(p: Population, row: Row) -> Behind:
    """Sites of which a visit entered the model, or those measured around the month that the term names."""
    _, at, month = row.term.rpartition(" at ")
    if at:
        return behind_estimate(p.where_sites(nearest_visits(p.gains, float(month))["site_id"]))
    return behind_model(p, _reasons(p) == "", None, p.plan["gain_terms"], row.term)


def recall(p: Population, row) -> Behind:
    """A recall's measurements are a set of sites only where no site was measured twice in it; else it is withheld."""
    return _at_recall(p, p.gains, row.months, "gain")


def variances(p: Population, row) -> Behind:
    """The number of visits is no set of sites: nobody is known to stand behind it, and it is withheld."""
    return Behind(rests_on=(_reasons(p) == "",))


def _reasons(p: Population) -> np.ndarray:
    """Why no visit of a site entered the model of the gain, "" where one did; shape (n_sites,)."""

    def work_out():
        design = design_matrix(p.gains, p.plan["gain_terms"])
        return reasons_of_sites(p.cases, p.gains, design.reasons, NO_BONE_HEIGHT).to_numpy(object)

    return p.once(("gain.mixed",), work_out)


def _at_recall(p: Population, measured: pd.DataFrame, months: float, seen_in: str) -> Behind:
    near = nearest_recall(measured["months"].to_numpy(float)) == months
    sites = p.where_sites(measured.loc[near, "site_id"])
    return Behind({"n": Counted(sites)}, rests_on=(sites,), seen_in=(seen_in,))


# ── marginal bone ───────────────────────────────────────────────────────────────────────────────────────────


def marginal(p: Population, row: Row) -> Behind:
    """Sites of which a visit entered the model, or those measured around the month that the term names."""
    what, at, month = row.term.rpartition(" at ")
    if not at:
        return behind_model(p, _marginal_reasons(p) == "", None, TERMS, row.term)
    near = nearest_visits(_levels(p), float(month))
    measured = p.where_sites(near["site_id"])
    if what == "mean":
        return behind_estimate(measured)
    far = p.where_sites(near.loc[beyond(near), "site_id"])
    return behind_share(p, measured, far)


def marginal_recall(p: Population, row) -> Behind:
    """As `recall`."""
    return _at_recall(p, _levels(p), row.months, "bone")


def _levels(p: Population) -> pd.DataFrame:
    return p.once(("bone.marginal", "levels"), lambda: marginal_at_visits(p.visits, p.cases))


def _marginal_reasons(p: Population) -> np.ndarray:
    def work_out():
        levels = _levels(p)
        return marginal_reasons(p.cases, levels, design_matrix(levels, TERMS).reasons).to_numpy(object)

    return p.once(("bone.marginal",), work_out)


# ── stability ───────────────────────────────────────────────────────────────────────────────────────────────


def stability(p: Population, row: Row) -> Behind:
    """Sites of the subset whose torque, or ISQ, was measured; a quartile is told where enough lie on either side.

    A mean's interval beside the standard deviation gives the number of few away.
    """
    known = stability_known(p.cases, row.analysis) & p.subset(row.subset)
    if row.term not in QUARTILES or not known.any():
        few = p.n_patients(known) < MANY_PATIENTS
        return behind_estimate(known, gives_away=(Counted(known),) if few else ())
    value = p.cases[COLUMNS[row.analysis]].to_numpy(float, na_value=np.nan)
    below = value <= np.quantile(value[known], QUARTILES[row.term])
    return behind_estimate(known, parts=(known & below, known & ~below))
