"""Which visit belongs to which recall, at every edge, and which visit stands for a month."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.gain.recalls import nearest_recall, nearest_visits


@pytest.mark.parametrize(
    ("months", "recall"),
    [(0, 0), (2.99, 0), (3, 6), (6, 6), (8.99, 6), (9, 12), (12, 12), (17.99, 12), (18, 24), (29.99, 24), (30, 36),
     (42, 48), (60, 60), (65.99, 60), (66, 72)],
)  # fmt: skip
def test_a_visit_halfway_belongs_to_the_later_recall(months, recall):
    assert nearest_recall(np.array([months], float)).tolist() == [recall]


def test_gain_is_bone_height_less_residual_height_at_the_nearest_recall(one_site_each):
    """A gain recalled at 9 months counts at twelve."""
    cases = one_site_each(rbh_mid_mm=[4.0, 5.0, 6.0, 5.5, 4.0])
    visits = pd.DataFrame(
        {
            "site_id": ["S0", "S1", "S2", "S3", "S4"],
            "months": [2.9, 3.0, 8.9, 18.0, 9.0],
            "bone_height_mm": [7.0, 9, 8, 8, 9],
        }
    )
    by_visit = fit_gain_mixed(visits, cases, []).by_visit
    assert by_visit["months"].tolist() == [0, 6, 12, 24]
    assert by_visit["n"].tolist() == [1, 2, 1, 1]
    assert by_visit["mean"].tolist() == [3, 3, 5, 2.5]


@pytest.mark.parametrize(("months", "counts"), [(8.99, 0), (9.0, 1), (15.0, 1), (15.01, 0)])
def test_a_visit_three_months_away_still_stands_for_a_month(months, counts):
    assert len(nearest_visits(pd.DataFrame({"site_id": ["a"], "months": [months]}), 12)) == counts


def test_three_months_away_but_for_rounding():
    """16.1 - 13.1 is 3.0000000000000018 in floating point."""
    assert 16.1 - 13.1 > 3
    assert len(nearest_visits(pd.DataFrame({"site_id": ["a"], "months": [16.1]}), 13.1)) == 1


def test_each_site_stands_once_by_its_nearest_visit_the_earlier_of_two_as_near():
    measured = pd.DataFrame(
        {"site_id": ["a", "a", "b", "b", "c"], "months": [14.0, 11.0, 13.5, 10.5, 40.0], "value": [1, 2, 3, 4, 5]}
    )
    near = nearest_visits(measured, 12).set_index("site_id")["value"]
    assert near.to_dict() == {"a": 2, "b": 4}
