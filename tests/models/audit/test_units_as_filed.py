"""How a unit lay before corrections: a planted unit whose flag comes from them, and its innocent neighbours."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import LIMITS, PLAN, counted

from liftseries.models.audit.as_filed import COLUMNS, list_units_as_filed
from liftseries.models.audit.funnel import fit_audit_funnel

NONE = pd.DataFrame(columns=["table", "patient_id", "site_id", "n_cells"])


def listed(cases, filed, cells=NONE):
    found = list_units_as_filed(cases, filed, cells, period=[], **PLAN, **LIMITS)
    assert list(found) == COLUMNS.split()
    return found.set_index("unit")


def torn_too(cases: pd.DataFrame, unit: str, n: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The cases with n more tears in a unit, and the cells that were corrected to say so."""
    sites = cases.loc[cases["operator"].eq(unit) & cases["perforation"].eq("no"), "site_id"][:n]
    more = cases.assign(perforation=cases["perforation"].astype(object).mask(cases["site_id"].isin(sites), "yes"))
    return more, pd.DataFrame({"table": "sites", "patient_id": None, "site_id": sites.tolist(), "n_cells": 1})


@pytest.fixture
def filed():
    return counted({"A": (4, 60), "B": (4, 60), "C": (6, 80)})


def test_nothing_corrected_leaves_no_row(filed):
    assert listed(filed, filed.iloc[:0]).empty


def test_a_flag_that_comes_from_corrections_is_seen_before_and_after(filed):
    cases, cells = torn_too(filed, "A", 14)
    found = listed(cases, filed, cells)
    before = fit_audit_funnel(filed, period=[], case_mix=[], **PLAN, **LIMITS).rows
    before = before[before["subset"].eq("operator=A") & before["method"].eq("clustered")].set_index("term")["estimate"]
    assert found.loc["A", ["n_cells", "before_events", "before_sites"]].tolist() == [14, 4, 60]
    assert found.loc["A", "before_flag"] == 0 == before["flag"]
    assert found.loc["A", "before_p_high"] == pytest.approx(before["p_high"])
    assert found.loc["A", "after_p_high"] < 0.01
    assert found.loc["B", ["n_cells", "n_gone", "n_added", "before_events"]].tolist() == [0, 0, 0, 4]


def test_a_unit_lay_as_filed_to_the_standard_where_that_is_the_centre(filed):
    cases, cells = torn_too(filed, "A", 14)
    plan = PLAN | {"centre": "standard", "standard": 0.2}
    found = list_units_as_filed(cases, filed, cells, period=[], **plan, **LIMITS).set_index("unit")
    before = fit_audit_funnel(filed, period=[], case_mix=[], **plan, **LIMITS).rows
    before = before[before["subset"].eq("operator=A") & before["method"].eq("clustered")].set_index("term")["estimate"]
    assert found.loc["A", "before_p_high"] == pytest.approx(before["p_high"])
    assert found.loc["A", "before_p_high"] > listed(cases, filed, cells).loc["A", "before_p_high"]


def test_sites_that_cannot_be_read_as_filed_are_counted(filed):
    gone = filed[filed["operator"].eq("B")].index[:5]
    found = listed(filed, filed.drop(gone))
    assert found["n_gone"].to_dict() == {"A": 0, "B": 5, "C": 0}
    assert found.loc["B", "before_sites"] == 55


def test_a_site_that_changed_its_unit_counts_in_both(filed):
    cases = filed.assign(operator=filed["operator"].where(filed.index != filed.index[0], "C"))
    cell = pd.DataFrame(
        {"table": ["sites"], "patient_id": [None], "site_id": [filed["site_id"].iloc[0]], "n_cells": [1]}
    )
    found = listed(cases, filed, cell)
    assert found["n_cells"].to_dict() == {"A": 1, "B": 0, "C": 1}
    assert found["n_added"].to_dict() == {"A": 1, "B": 0, "C": 0}
    assert found["n_gone"].sum() == 0


def test_a_patient_s_cell_counts_for_the_unit_of_the_sites(filed):
    patient = filed.loc[filed["operator"].eq("B"), "patient_id"].iloc[0]
    cell = pd.DataFrame({"table": ["patients"], "patient_id": [patient], "site_id": [None], "n_cells": [3]})
    assert listed(filed, filed, cell)["n_cells"].to_dict() == {"A": 0, "B": 3, "C": 0}


def test_the_order_of_rows_tells_nothing(filed):
    cases, cells = torn_too(filed, "A", 3)
    shuffled = [one.sample(frac=1, random_state=1) for one in (cases, filed)]
    pd.testing.assert_frame_equal(listed(cases, filed, cells), listed(*shuffled, cells), rtol=1e-12)


def test_nothing_can_be_read_as_filed(filed):
    cells = torn_too(filed, "A", 3)[1]
    found = listed(filed, filed.iloc[:0], cells)
    assert found["n_gone"].sum() == len(filed)
    for column in ("before_flag", "before_p_high"):
        assert np.isnan(found[column]).all()
    assert found["after_p_high"].notna().all()
    assert found[["before_events", "before_sites"]].eq(0).all(axis=None)


def test_without_the_column_of_the_units_there_is_none_and_the_columns_stand(filed):
    cases, cells = torn_too(filed, "A", 3)
    assert listed(*(one.drop(columns="operator") for one in (cases, filed)), cells).empty


def test_a_unit_that_should_have_sent_cases_stands_there_with_none(filed):
    plan = PLAN | {"expected": {"silent": {2021: 5}}}
    cases, cells = torn_too(filed, "A", 3)
    found = list_units_as_filed(cases, filed, cells, period=[], **plan, **LIMITS).set_index("unit")
    assert found.index.tolist() == ["A", "B", "C", "silent"]
    assert found.loc["silent", ["before_events", "before_sites"]].tolist() == [0, 0]
