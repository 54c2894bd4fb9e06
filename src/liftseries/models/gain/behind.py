"""Who stands behind what is told of bone gained."""

from __future__ import annotations

from liftseries.disclosure.declared import Behind, Counted
from liftseries.models.gain.mixed import NO_BONE_HEIGHT, nearest_recall, reasons_of_sites
from liftseries.models.shared.behind import Row, behind_model, by_reason
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.population import Population


def mixed(p: Population, row: Row) -> Behind:
    """Sites of which a visit entered the model."""
    return behind_model(p, _used(p), None, p.plan["gain_terms"], row.term)


def recall(p: Population, row) -> Behind:
    """A recall's measurements are a set of sites only where no site was measured twice in it; else it is withheld."""
    near = nearest_recall(p.gains["months"].to_numpy(float)) == row.months
    measured = p.where_sites(p.gains.loc[near, "site_id"])
    return Behind({"n": Counted(measured)}, rests_on=(measured,), seen_in=("gain",))


def variances(p: Population, row) -> Behind:
    """The number of visits is no set of sites: nobody is known to stand behind it, and it is withheld."""
    return Behind(rests_on=(_used(p),))


def left_out(p: Population, subset: str) -> dict[str, Counted]:
    """Sites of which no visit entered the model."""
    reasons = _reasons(p)
    return by_reason(reasons) | {NO_BONE_HEIGHT: Counted(reasons == NO_BONE_HEIGHT)}


def _used(p: Population):
    return _reasons(p) == ""


def _reasons(p: Population):
    """Why no visit of a site entered the model, "" where one did; shape (n_sites,)."""

    def work_out():
        design = design_matrix(p.gains, p.plan["gain_terms"])
        return reasons_of_sites(p.cases, p.gains, design.reasons).to_numpy(object)

    return p.once(("gain.mixed",), work_out)
