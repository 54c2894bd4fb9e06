"""What the report needs beside the estimates: cases received by year, bands over time, actions then and now."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import ASKED, CHANCE, CUSUM, MIX, PLAN, counted, visits_of

from liftseries.models.audit.actions import list_action_effects
from liftseries.models.audit.indicators import received_by_year
from liftseries.models.audit.over_time import BAND_ENDS, MOST_BAND, Charted, _band, fit_audit_cusum
from liftseries.models.shared.follow_up import follow_up

NO_VISITS = visits_of()


def test_received_of_expected_by_year_and_a_silent_year_has_its_row():
    cases = counted({"A": (2, 10), "B": (1, 4)})  # years 2020 and 2021 in turn
    told = received_by_year(cases, "operator", [2021, 2022], {"A": {2020: 9, 2021: 6, 2022: 3}, "C": {2021: 5}})
    assert told.to_numpy().tolist() == [["A", 2021, 6, 5], ["A", 2022, 3, 0], ["C", 2021, 5, 0]]


def test_the_band_holds_zero_and_widens():
    cases = counted({"A": (6, 60), "B": (6, 60)})
    charts = fit_audit_cusum(cases, **PLAN, case_mix=MIX, **CUSUM, **CHANCE)
    band = charts.bands[charts.bands["unit"].eq("A")]
    assert band["case"].tolist() == list(range(1, 61))
    assert (band["low"].to_numpy() <= 0).all()
    assert (band["high"].to_numpy() >= 0).all()
    width = (band["high"] - band["low"]).to_numpy()
    assert width[-1] > width[5]
    # About twice 1.96 √(Σ q (1 - q)), sites alike no more than by chance.
    q = charts.charts.loc[charts.charts["unit"].eq("A"), "expected"].to_numpy()
    assert abs(width[-1] - 2 * 1.96 * np.sqrt((q * (1 - q)).sum())) < 1.6


@pytest.mark.parametrize("n_cases", [30, 2 * MOST_BAND])
def test_the_band_is_that_of_the_courses(n_cases):
    rng = np.random.default_rng(3)
    q = rng.uniform(0.02, 0.4, n_cases)
    in_control = rng.random((n_cases, 500)) < q[:, None]
    nobody = np.full(n_cases, "")
    band = _band("A", Charted(nobody, nobody, in_control[:, 0], q), in_control)
    courses = np.cumsum(in_control - q[:, None], axis=0)
    ends = np.quantile(courses, BAND_ENDS, axis=1)[:, band["case"] - 1]
    np.testing.assert_allclose(band[["low", "high"]].to_numpy().T, ends, atol=1e-12)


def effects(actions: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    keys = ("by", "period", "expected", "unrecorded", "months", "data_until", "depth_tolerance_mm", "step_mm")
    asked = {key: ASKED[key] for key in keys} | {"period": [2020, 2021]}
    return list_action_effects(actions, cases, follow_up(NO_VISITS, cases).implants, NO_VISITS, **asked).effects


def test_an_action_has_its_indicator_in_the_year_audited_and_in_those_since():
    cases = counted({"A": (5, 20), "B": (5, 20)})  # five tears: cases 1 to 5, of which 2 and 4 are of 2020
    actions = pd.DataFrame(
        [
            ("1", 2020, "perforation", "A"),
            ("2", 2021, "perforation", "all"),
            ("3", 2020, None, "all"),
        ],
        columns=["id", "year", "indicator", "unit"],
    )
    told = effects(actions, cases).set_index("id")
    assert list(told.index) == ["1", "2"]  # one without an indicator has nothing to set side by side
    one, two = told.loc["1"], told.loc["2"]
    assert (one["before"], one["before_counted"], one["before_events"]) == (0.2, 10, 2)
    assert (one["now"], one["now_counted"], one["since"]) == (0.3, 10, "2021")
    assert two["since"] == ""  # no year since
    assert np.isnan(two["now"])
    assert two["before"] == 6 / 20


def test_an_action_at_a_centre_counts_the_sites_of_the_centre():
    cases = counted({"A": (5, 20), "B": (0, 20)}, centre="North")
    cases.loc[cases["operator"].eq("B"), "centre"] = "South"
    actions = pd.DataFrame([("1", 2020, "perforation", "South")], columns=["id", "year", "indicator", "unit"])
    told = effects(actions, cases).iloc[0]
    assert (told["before"], told["before_counted"]) == (0.0, 10)
