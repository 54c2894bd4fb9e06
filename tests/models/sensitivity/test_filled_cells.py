"""The outcomes again without the cells that were empty and were taken for an answer."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.sensitivity.filled_cells import fit_sensitivity_filled_cells

NONE = pd.DataFrame(columns=["table", "column", "site_id", "months"])


@pytest.fixture
def cases():
    """Twenty sites of twenty patients, one in five torn."""
    n = 20
    sites = pd.DataFrame(
        {
            "site_id": [f"s{k}" for k in range(n)],
            "patient_id": [f"p{k}" for k in range(n)],
            "perforation": ["yes" if k % 5 == 0 else "no" for k in range(n)],
        }
    )
    return sites.assign(rbh_band="<4", placement="same_day")


@pytest.fixture
def visits(cases):
    """At 12 months all seen, s0 to s3 failed; s1 with an infection."""
    status = ["failed" if k < 4 else "functioning" for k in range(len(cases))]
    complication = ["infection" if k == 1 else "none" for k in range(len(cases))]
    return pd.DataFrame({"site_id": cases["site_id"], "months": 12.0, "status": status, "complication": complication})


def cells(table, column, sites, months=np.nan):
    return pd.DataFrame({"table": table, "column": column, "site_id": sites, "months": months})


def told(cases, visits, filled):
    rows = fit_sensitivity_filled_cells(cases, visits, filled, [12.0]).rows
    return rows.set_index("term")[["estimate", "n_sites", "n_events"]]


def test_without_empty_cells_there_is_no_row(cases, visits):
    assert told(cases, visits, NONE).empty


def test_a_share_perforated_stands_on_the_sites_that_somebody_filled_in(cases, visits):
    """4 torn of 20; nine of the others were empty: 4 of 11."""
    empty = [site for site in cases["site_id"] if int(site[1:]) % 5][:9]
    rows = told(cases, visits, cells("sites", "perforation", empty))
    assert rows.loc["perforation"].tolist() == pytest.approx([4 / 11, 11, 4])
    assert list(rows.index) == ["perforation"]


def test_survival_leaves_out_the_visits_without_a_status(cases, visits):
    """4 of 20 failed; six of those in function were empty: 4 of 14."""
    filled = cells("visits", "status", [f"s{k}" for k in range(10, 16)], 12.0)
    rows = told(cases, visits, filled)
    assert rows.loc["survival at 12"].tolist() == pytest.approx([1 - 4 / 14, 14, 4])


def test_a_complication_is_asked_of_the_visits_that_say(cases, visits):
    filled = cells("visits", "complication", [f"s{k}" for k in range(10, 20)], 12.0)
    assert told(cases, visits, filled).loc["complication", "estimate"] == pytest.approx(1 / 10)
    another_month = filled.assign(months=6.0)
    assert told(cases, visits, another_month).loc["complication", "estimate"] == pytest.approx(1 / 20)


def test_rows_keep_their_design_effects(cases, visits):
    found = fit_sensitivity_filled_cells(cases, visits, cells("sites", "perforation", ["s3"]), [12.0])
    assert found.design_effects["term"].tolist() == ["sensitivity.filled_cells perforation"]
    assert not found.rows["headline"].any()
