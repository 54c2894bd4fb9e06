"""From visits to one time an implant."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.shared.follow_up import failure_intervals, follow_up


@pytest.fixture
def followed(one_site_each, as_category):
    """Call with one list of (months, status) a site: the FollowUp."""

    def run(*seen, placement=None):
        cases = one_site_each(placement=placement or ["same_day"] * len(seen))
        rows = [(f"S{i}", months, status) for i, visits in enumerate(seen) for months, status in visits]
        visits = pd.DataFrame(rows, columns=["site_id", "months", "status"])
        visits["months"] = visits["months"].astype(float)
        visits["status"] = as_category("status", visits["status"])
        return follow_up(visits, cases)

    return run


def ends(result):
    return list(result.implants[["months", "failed", "died"]].itertuples(index=False, name=None))


def test_a_failure_is_dated_at_the_first_visit_that_found_it(followed):
    result = followed([(6, "functioning"), (12, "failed"), (24, "failed")])
    assert ends(result) == [(12, True, False)]


def test_the_last_visit_in_function_censors(followed):
    result = followed([(24, "functioning"), (6, "functioning"), (36, "not_examined")])
    assert ends(result) == [(24, False, False)]


def test_a_death_censors_at_the_visit_that_reports_it(followed):
    result = followed([(12, "functioning"), (30, "patient_died")])
    assert ends(result) == [(30, False, True)]


def test_a_failure_before_a_death_is_a_failure(followed):
    result = followed([(12, "failed"), (30, "patient_died")])
    assert ends(result) == [(12, True, False)]


def test_a_site_seen_only_at_placement_stays_with_no_time(followed):
    result = followed([(0, "functioning")], [(12, "functioning")])
    assert ends(result) == [(0, False, False), (12, False, False)]
    assert result.n_seen_only_at_placement == 1


def test_who_stays_out_is_counted_under_one_reason(followed):
    result = followed(
        [(12, "functioning")],
        [],
        [(12, "not_examined")],
        [(12, "functioning")],
        placement=["same_day", "staged", "same_day", "none"],
    )
    assert result.implants["site_id"].tolist() == ["S0"]
    assert (result.n_without_implant, result.n_without_visit, result.n_only_not_examined) == (1, 1, 1)
    assert result.left_out("survival.km")["n_sites"].sum() == 3


def test_covariates_travel_along_and_visits_of_strangers_do_not(one_site_each):
    cases = one_site_each(rbh_mid_mm=[4.0])
    visits = pd.DataFrame({"site_id": ["S0", "elsewhere"], "months": [12.0, 6.0], "status": ["functioning", "failed"]})
    implants = follow_up(visits, cases).implants
    first = ["site_id", "patient_id", "months", "failed", "died", "last_in_function"]
    assert implants.columns.tolist() == [*first, "rbh_mid_mm"]
    assert len(implants) == 1


def test_no_visits_at_all(one_site_each):
    visits = pd.DataFrame({"site_id": [], "months": [], "status": []})
    result = follow_up(visits, one_site_each(rbh_mid_mm=[4.0, 5.0]))
    assert len(result.implants) == 0
    assert result.n_without_visit == 2


def test_a_failure_lies_between_the_last_visit_in_function_and_the_visit_that_found_it(one_site_each):
    """Failed after 12 by 24; failed by 6, never seen in function; still standing at 36; dead at 30, last seen at 18."""
    visits = pd.DataFrame(
        [
            ("S0", 12.0, "functioning"),
            ("S0", 24.0, "failed"),
            ("S1", 6.0, "failed"),
            ("S2", 36.0, "functioning"),
            ("S3", 18.0, "functioning"),
            ("S3", 30.0, "patient_died"),
        ],
        columns=["site_id", "months", "status"],
    )
    implants = follow_up(visits, one_site_each(rbh_mid_mm=[4.0, 5.0, 6.0, 7.0])).implants
    left, right = failure_intervals(implants)
    assert left.tolist() == [12, 0, 36, 18]
    assert right.tolist() == [24, 6, np.inf, np.inf]
