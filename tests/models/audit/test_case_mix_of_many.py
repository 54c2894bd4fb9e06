"""A case mix of many sites, counted by the rows that they share, gives what site by site gives."""

from __future__ import annotations

import numpy as np
import pytest
from audit_series import PLAN, operators

from liftseries.models.audit import case_mix
from liftseries.models.audit.case_mix import CaseMix
from liftseries.models.audit.units import audited

ALIKE = 1e-9  # the search of either ends within


def test_risks_by_shared_rows_are_those_by_sites(monkeypatch):
    cases = operators()
    cases["rbh_mid_mm"] = cases["rbh_mid_mm"].round(0)
    audit = audited(cases, **PLAN)
    mix = CaseMix(audit, ["rbh_mid_mm", "approach"])
    assert len(mix._cells[0]) < mix.used.sum()  # some sites share a row, or nothing is tried
    one_by_one = [mix.risks(number) for number in range(len(audit.names))]
    monkeypatch.setattr(case_mix, "MOST_SINGLY", 0)
    for number, expected in enumerate(one_by_one):
        assert mix.risks(number) == pytest.approx(expected, abs=ALIKE, nan_ok=True)
        assert np.nanmean(mix.risks(number)) == pytest.approx(audit.p0, abs=ALIKE)


@pytest.mark.parametrize(("own", "usual"), [("freehand", "guided"), ("guided", "freehand")])
def test_a_term_that_varies_at_one_unit_alone_says_nothing_of_that_unit(monkeypatch, own, usual):
    """Only OP2 operates in one of two ways: the others teach nothing of it, by shared rows as by sites."""
    cases = operators()
    cases["approach"] = np.where(cases["operator"].eq("OP2") & cases["approach"].eq(own), own, usual)
    audit = audited(cases, **PLAN)
    number = audit.names.index("OP2")
    monkeypatch.setattr(case_mix, "MOST_SINGLY", 0)
    alone, beside = (CaseMix(audit, terms).risks(number) for terms in (["septum"], ["septum", "approach"]))
    assert beside == pytest.approx(alone, abs=ALIKE)
