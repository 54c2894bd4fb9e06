"""Complications by patient and by site, counted by hand."""

import pandas as pd
import pytest
from scipy.stats import beta

from liftseries.models.survival.complications import fit_complications


@pytest.fixture
def tables(one_site_each, as_category):
    """Patient P0 has S0 and S1, both infected; P1 and P2 one site each, P2's never asked; P3 infected at 18 months."""
    cases = one_site_each(protocol=["A", "B", "A", "A", "B"]).assign(patient_id=["P0", "P0", "P1", "P2", "P3"])
    rows = [
        ("S0", 6.0, "infection"), ("S0", 12.0, "infection"), ("S1", 12.0, "infection"), ("S2", 6.0, "none"),
        ("S3", 6.0, None), ("S4", 6.0, "none"), ("S4", 18.0, "infection"), ("stranger", 6.0, "vertigo"),
    ]  # fmt: skip
    visits = pd.DataFrame(rows, columns=["site_id", "months", "complication"])
    return visits.assign(complication=as_category("complication", visits["complication"])), cases


def rows_of(tables, by=()):
    estimates = fit_complications(*tables, by)
    return estimates.rows.set_index(["analysis", "subset", "term", "method"]).sort_index(), estimates


def test_patients_and_sites_with_an_infection(tables):
    rows, estimates = rows_of(tables)
    patients, sites = (rows.loc[("complications.rate", "all", "infection", way)] for way in ("patients", "sites"))
    assert patients[["estimate", "n_sites", "n_patients", "n_events"]].tolist() == [2 / 3, 4, 3, 2]
    assert patients[["conf_low", "conf_high"]].tolist() == pytest.approx([beta.ppf(0.025, 2, 2), beta.ppf(0.975, 3, 1)])
    assert sites[["estimate", "n_events"]].tolist() == [3 / 4, 3]
    # One patient has a site without: the exact interval of 2 in 3 patients, which holds 3/4.
    assert sites[["conf_low", "conf_high"]].tolist() == pytest.approx([beta.ppf(0.025, 2, 2), beta.ppf(0.975, 3, 1)])
    assert patients["headline"]
    assert not sites["headline"]
    assert estimates.left_out["n_sites"].tolist() == [1]


def test_any_is_none_of_the_kinds_and_none_is_no_kind(tables):
    rows, _ = rows_of(tables)
    terms = rows.loc[("complications.rate", "all")].index.get_level_values("term").unique()
    assert sorted(terms) == ["any", "infection", "sinusitis", "vertigo"]
    assert rows.loc[("complications.rate", "all", "any", "patients"), "n_events"] == 2
    assert rows.loc[("complications.rate", "all", "vertigo", "sites"), "n_events"] == 0


def test_the_first_year_ends_with_the_visit_at_month_12(tables):
    rows, _ = rows_of(tables)
    first = rows.loc[("complications.first_year", "all", "infection", "patients")]
    assert (first["n_events"], first["n_patients"]) == (1, 3)
    assert rows.loc[("complications.first_year", "all", "infection", "sites"), "n_events"] == 2


def test_a_patient_with_sites_under_two_protocols_counts_in_both(tables):
    rows, _ = rows_of(tables, ["protocol"])
    of = rows.xs(("infection", "patients"), level=("term", "method")).loc["complications.rate"]
    assert of.loc[["protocol=A", "protocol=B"], ["n_events", "n_patients"]].values.tolist() == [[1, 2], [2, 2]]
    assert set(rows.loc["complications.first_year"].index.get_level_values("subset")) == {"all"}


def test_where_no_visit_tells_there_is_no_share(tables):
    visits, cases = tables
    rows, _ = rows_of((visits.iloc[:0], cases))
    assert rows["problem"].eq("no visit says whether there was a complication").all()
    nothing, _ = rows_of((visits.drop(columns="complication"), cases))
    assert nothing.index.get_level_values("term").unique().tolist() == ["any"]
