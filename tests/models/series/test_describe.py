"""Counts that the report prints: each adds up to what it is a count of."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.series.describe import characteristics, flow, missingness


@pytest.fixture
def counts():
    rows = [("patients", "a.csv", 5, 4, 1), ("sites", "a.csv", 3, 3, 0), ("sites", "b.csv", 4, 1, 3)]
    return pd.DataFrame(rows, columns=["table", "file", "read", "kept", "set_aside"])


@pytest.fixture
def four_sites(one_site_each):
    cases = one_site_each(
        perforation=["yes", "no", "unknown", "no"],
        placement=["same_day", "none", "same_day", "staged"],
        first_too_deep=pd.array([True, False, None, False], dtype="boolean"),
    )
    return cases.assign(patient_id=["P0", "P0", "P1", "P2"])


def test_flow(four_sites, counts):
    visits = pd.DataFrame(
        {
            "site_id": ["S0", "S0", "S1", "S2"],
            "status": ["functioning", "failed", "functioning", "not_examined"],
        }
    )
    table = flow(four_sites, visits, counts)
    assert list(table.itertuples(index=False, name=None)) == [
        ("read", 5, 7),
        ("set aside", 1, 3),
        ("in the series", 3, 4),
        ("with a drilling log", 2, 3),
        ("perforation known", 2, 3),
        ("with an implant", 3, 3),
        ("followed", 1, 1),
    ]


def test_flow_without_visits(four_sites, counts):
    table = flow(four_sites, None, counts).set_index("stage")
    assert table.loc["followed"].tolist() == [0, 0]


def test_patients_count_once_and_unknown_is_missing(one_site_each):
    cases = one_site_each(
        protocol=["A", "A", "B", "B"],
        smoking=["never", "never", "never", "unknown"],
        rbh_mid_mm=[4.0, 5.0, 6.0, np.nan],
        tooth=[16, 16, 26, 15],
    ).assign(patient_id=["P0", "P0", "P0", "P1"])
    table = characteristics(cases).set_index(["subset", "column", "level"])
    never = table.loc[("all", "smoking", "never")]
    assert never[["unit", "n", "n_known", "n_missing", "share"]].tolist() == ["patient", 1, 1, 1, 1.0]
    height = table.loc[("all", "rbh_mid_mm", "")]
    assert height[["n", "n_missing", "mean", "sd", "median", "q1", "q3"]].tolist() == [
        3,
        1,
        5,
        1,
        5,
        4.5,
        5.5,
    ]
    assert table.loc[("protocol=A", "rbh_mid_mm", ""), "mean"] == 4.5
    assert table.loc[("all", "tooth", "16"), "n"] == 2


def test_shares_of_the_groups_add_up(many_cases):
    table = characteristics(many_cases)
    labels = table[table["level"] != ""]
    totals = labels.groupby(["unit", "column", "subset"])["n"].sum()
    known = labels.groupby(["unit", "column", "subset"])["n_known"].first()
    pd.testing.assert_series_equal(totals, known, check_names=False)
    sites = table[(table["column"] == "approach") & (table["subset"] != "all")]
    assert sites["n"].sum() == len(many_cases)


def test_missing_values_by_centre(one_site_each):
    table = one_site_each(centre=["x", "x", "y"], smoking=["never", "unknown", None], isq=[70.0, np.nan, 60.0])
    rows = missingness(table).set_index(["column", "subset"])
    assert rows.loc[("smoking", "all"), ["n", "n_missing"]].tolist() == [3, 2]
    assert rows.loc[("smoking", "centre=y"), "share"] == 1
    assert rows.loc[("isq", "centre=x"), "n_missing"] == 1
    assert "sex" not in rows.index.get_level_values(0)
