"""Surgery as recorded, on a table small enough to count by hand."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import names_in
from liftseries.models.series.recorded import describe_surgery
from liftseries.models.shared.follow_up import follow_up

CASES = pd.DataFrame(
    {
        "site_id": [f"s{i}" for i in range(1, 8)],
        "patient_id": ["a", "a", "b", "c", "d", "e", "f"],
        "perforation": ["yes", "no", "yes", "no", "no", "unknown", "no"],
        "placement": ["same_day"] * 6 + ["none"],
        "lift_method": ["fluid", "fluid", "fluid", "osteotome", "osteotome", None, "fluid"],
        "graft": ["none", "xenograft", "xenograft", "none", "xenograft", "xenograft", "none"],
        "fluid_ml": [0.2, 0.4, 0.6, 0.0, np.nan, np.nan, 0.8],
        "graft_ml": [0.0, 0.3, 0.5, 0.0, 0.7, np.nan, 0.0],
        "dome_ml": [0.1, 0.1, 0.3, 0.2, 0.0, 0.2, 0.1],
        "loading_months": [4.0, 4.0, 6.0, 6.0, 5.0, np.nan, np.nan],
        "implant_length_mm": [8.0, 8.0, 8.0, 9.5, 9.5, np.nan, 8.0],
        "implant_diameter_mm": [4.2, 4.2, 3.6, 4.2, 4.2, 4.2, 4.2],
    }
)
VISITS = pd.DataFrame(
    [("s1", 12.0, "failed"), ("s2", 24.0, "functioning"), ("s3", 6.0, "failed"), ("s4", 30.0, "functioning")],
    columns=["site_id", "months", "status"],
)


def described(cases=CASES, visits=VISITS):
    return describe_surgery(cases, follow_up(visits, cases).implants)


def rows(cases=CASES) -> pd.DataFrame:
    return described(cases).rows.set_index(["analysis", "subset", "term"])


def of(analysis: str, cases=CASES) -> pd.DataFrame:
    return rows(cases).xs((analysis, "all"), level=("analysis", "subset"))


def test_lift_methods_of_the_sites_that_have_theirs_recorded():
    lift = of("series.lift_method")
    assert lift["n_events"].loc[["fluid", "osteotome", "balloon"]].tolist() == [4, 2, 0]
    assert lift["n_sites"].eq(6).all()
    assert described().left_out.to_numpy().tolist() == [["series.lift_method", "all", "lift_method unknown", 1]]


def test_grafts_by_lift_method():
    graft = rows().loc["series.graft"].droplevel("term")
    assert graft[["n_events", "n_sites"]].loc["all"].tolist() == [4, 7]
    assert graft[["n_events", "n_sites"]].loc["lift_method=fluid"].tolist() == [2, 4]
    assert graft[["n_events", "n_sites"]].loc["lift_method=osteotome"].tolist() == [1, 2]


def test_a_volume_counts_where_some_was_used():
    """Fluid 0.2, 0.4, 0.6, 0.8; over the dome 2, 4, 2, 8. Graft 0.3, 0.5, 0.7; without a dome no ratio."""
    told = of("series.surgery")["estimate"]
    assert told["fluid_ml n"] == 4
    assert told["fluid_ml mean"] == pytest.approx(0.5)
    assert told["fluid_ml median"] == pytest.approx(0.5)
    assert told["fluid_ml/dome_ml mean"] == pytest.approx(4)
    assert told["graft_ml n"] == 3
    assert told["graft_ml/dome_ml n"] == 2


def test_months_to_loading():
    """4, 4, 6, 6, 5 of patients a, a, b, c, d: mean 5, sums -2, 1, 1, 0; variance 4/3 × 6 / 25."""
    told = of("series.surgery")
    assert told.loc["loading_months mean", "estimate"] == pytest.approx(5)
    assert told.loc["loading_months mean", "std_error"] == pytest.approx(np.sqrt(4 / 3 * 6 / 25))
    assert told.loc["loading_months q1", "estimate"] == 4
    assert told.loc["loading_months mean", "headline"]
    assert not told.loc["fluid_ml mean", "headline"]


def test_one_site_or_several():
    told = of("series.one_or_several")
    found = {term: (row["n_events"], row["n_sites"]) for term, row in told.iterrows()}
    assert found == {
        "tears one": (1, 4),
        "tears several": (1, 2),
        "failures one": (1, 2),
        "failures several": (1, 2),
    }


def test_sizes_of_the_implants_placed():
    assert described().sizes.to_numpy().tolist() == [[8.0, 3.6, 1, 1], [8.0, 4.2, 2, 1], [9.5, 4.2, 2, 2]]


@pytest.mark.parametrize(
    "cases",
    [CASES[["site_id", "patient_id", "perforation"]].assign(perforation="unknown"), CASES.iloc[:0]],
    ids=["nothing recorded", "nobody"],
)
def test_nothing_recorded(cases):
    estimates = described(cases, VISITS.iloc[:0])
    assert estimates.rows["estimate"].isna().all()
    assert estimates.rows["problem"].map(names_in).eq({"not_recorded"}).all()
    assert estimates.sizes.empty


def test_one_patient_is_counted_without_an_interval():
    alone = CASES.assign(patient_id="a")
    told = of("series.lift_method", alone)
    assert told["problem"].map(names_in).eq({"one_patient"}).all()
    assert told.loc["fluid", "n_events"] == 4
    measured = of("series.surgery", alone)
    assert np.isnan(measured.loc["loading_months mean", "estimate"])
    assert measured.loc["loading_months median", "estimate"] == 5
