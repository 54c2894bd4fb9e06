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


def effects(actions: pd.DataFrame, cases: pd.DataFrame, visits: pd.DataFrame = NO_VISITS, **changes) -> pd.DataFrame:
    keys = ("by", "period", "expected", "unrecorded", "months", "data_until", "depth_tolerance_mm", "step_mm")
    asked = {key: ASKED[key] for key in keys} | {"period": [2020, 2021]}
    return list_action_effects(actions, cases, follow_up(visits, cases).implants, visits, **asked | changes).effects


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


def test_an_action_about_patients_or_implants_looks_at_the_month_of_its_indicator():
    """Of 2020 two implants were lost, one within a year; in it three sites were seen, two with an inflamed sinus."""
    cases = counted({"A": (5, 120)})
    even = cases.loc[cases["surgery_year"].eq(2020), "site_id"].tolist()
    visits = visits_of(
        *((site, 30, "functioning", "none", 9) for site in even[2:]),
        (even[0], 8, "failed", "none", 9),
        (even[1], 20, "failed", "none", 9),
        *((site, month, "functioning", "sinusitis", 9) for site, month in zip(even[2:5], (3, 11, 25), strict=True)),
    ).sort_values(["site_id", "months"])
    actions = pd.DataFrame(
        [
            ("1", 2020, "failure_in_a_year", "A"),
            ("2", 2020, "harm_in_a_year", "A"),
            ("3", 2020, "cases_received", "A"),
            ("4", 2020, "sinus_never_inflamed", "A"),
            ("5", 2020, "no such indicator", "A"),
        ],
        columns=["id", "year", "indicator", "unit"],
    )
    own = {"counts": "sites", "good": "high", "numerator": "sinusitis == 'no'", "title": "t", "means": "m"}
    own = {"sinus_never_inflamed": own | {"months": 12, "standard": {"kind": "none"}}}
    told = effects(actions, cases, visits, own=own, expected={"A": {2020: 80, 2021: 40}}).set_index("id")
    assert told.index.tolist() == ["1", "2", "3", "4"]
    assert told.loc["1", "before"] == pytest.approx(1 / 60)
    assert np.isnan(told.loc["1", "before_events"])  # a curve counts implants at risk, no share of them
    assert told.loc["2", ["before_counted", "before_events"]].tolist() == [3, 2]
    assert told.loc[["1", "2"], "good"].tolist() == ["low", "low"]
    assert told.loc["3", ["before", "now", "before_counted"]].tolist() == [60 / 80, 60 / 40, 60]
    assert np.isnan(told.loc["3", "before_events"])
    assert told.loc["4", ["before_counted", "before_events"]].tolist() == [3, 1]


def test_without_a_period_the_years_since_are_those_of_the_cases():
    cases = counted({"A": (5, 20)}).assign(surgery_year=[2020] * 10 + [2022] * 5 + [2023] * 5)
    actions = pd.DataFrame([("1", 2020, "perforation", "A")], columns=["id", "year", "indicator", "unit"])
    told = effects(actions, cases, period=[]).iloc[0]
    assert (told["since"], told["before"], told["now"], told["now_counted"]) == ("2022 2023", 0.5, 0.0, 10)
