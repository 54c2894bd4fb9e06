"""One row a site, with patient, geometry and bands."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.numbers import band_labels
from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.shared.cases import band, cases


@pytest.fixture
def tables():
    patients = pd.DataFrame({"patient_id": ["P1", "P2"], "age_years": [50, 60]})
    sites = pd.DataFrame({"site_id": ["S3", "S1", "S2"], "patient_id": ["P2", "P1", "P1"]})
    derived = pd.DataFrame(
        {"site_id": ["S1", "S2", "S3"], "rbh_mid_mm": [3.9, 4.0, 6.0], "protrusion_mm": [3.0, np.nan, 5.5]}
        | dict.fromkeys([*DEVIATIONS, "ended"])
    )
    return patients, sites, derived


def test_sites_keep_their_order_and_gain_patient_and_geometry(tables):
    table = cases(*tables, [4, 6], [3, 5])
    assert table["site_id"].tolist() == ["S3", "S1", "S2"]
    assert table["age_years"].tolist() == [60, 50, 50]
    assert table["rbh_mid_mm"].tolist() == [6.0, 3.9, 4.0]


def test_a_cut_belongs_to_the_band_above_it(tables):
    table = cases(*tables, [4, 6], [3, 5])
    assert table["rbh_band"].tolist() == ["≥6", "<4", "4 to <6"]
    assert table["lift_band"].tolist()[:2] == ["≥5", "3 to <5"]
    assert table["lift_band"].isna().tolist() == [False, False, True]
    assert table["rbh_band"].cat.ordered


@pytest.mark.parametrize(
    ("cuts", "labels"),
    [([5], ["<5", "≥5"]), ([4, 6], ["<4", "4 to <6", "≥6"]), ([4.5, 6], ["<4.5", "4.5 to <6", "≥6"])],
)
def test_labels(cuts, labels):
    assert band_labels(cuts) == labels


def test_rounding_of_a_sum_does_not_move_a_site_into_another_band():
    """4.35 + 1.65 - 2 = 4, but the computed sum is a bit below it."""
    almost_four = 0.1 + 0.2 + 3.7 - 2 * np.spacing(4.0)
    assert almost_four < 4
    assert band(pd.Series([almost_four]), [4])[0] == "≥4"


def test_a_site_that_stands_twice_in_derived_is_refused(tables):
    patients, sites, derived = tables
    with pytest.raises(pd.errors.MergeError):
        cases(patients, sites, pd.concat([derived, derived]), [4], [3])
