"""Completeness, time observed and failures in it, worked by hand."""

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.completeness import fit_followup_completeness
from liftseries.models.survival.time_observed import fit_followup_time

T_OF_4 = 2.7764451051977934


@pytest.fixture
def series(one_site_each, as_category):
    """Eight sites, data closed in March 2025; all but S6 (2023) and S7 are due at month 24.

    S0 seen at 24; S1 last seen at 12; S2 failed at 6; S3 died at 10; S4 never seen; S5 seen at 12 and 40; S6 at 6; S7
    has no implant.
    """
    cases = one_site_each(
        surgery_year=[2020, 2020, 2020, 2020, 2020, 2020, 2023, 2020], placement=["same_day"] * 7 + ["none"]
    )
    rows = [
        ("S0", 12.0, "functioning"), ("S0", 24.0, "functioning"), ("S1", 12.0, "functioning"),
        ("S2", 6.0, "failed"), ("S3", 10.0, "patient_died"), ("S4", 12.0, "not_examined"),
        ("S5", 12.0, "functioning"), ("S5", 40.0, "functioning"), ("S6", 6.0, "functioning"),
    ]  # fmt: skip
    visits = pd.DataFrame(rows, columns=["site_id", "months", "status"])
    return cases, visits.assign(status=as_category("status", visits["status"]))


def fit(cases, visits, months, data_until="2025-03"):
    return fit_followup_completeness(cases, follow_up(visits, cases).implants, visits, months, data_until)


def test_implants_due_seen_lost_and_not_yet_due(series):
    found = fit(*series, [24])
    at = found.by_month.set_index("months")
    names = ["n_placed", "n_not_yet_due", "n_due", "n_seen", "n_ended", "n_lost", "n_never_seen"]
    assert at.columns.tolist() == names
    # At 12 S6 is due (31 December 2023 + 12 + 3), and lost: last seen at 6.
    assert at.loc[12].tolist() == [7, 0, 7, 5, 2, 1, 1]
    # At 24 S5 was not seen within three months, but later: not seen, and not lost either.
    assert at.loc[24].tolist() == [7, 1, 6, 3, 2, 1, 1]
    row = found.rows.set_index("term").loc["24"]
    assert (row["estimate"], row["n_sites"], row["n_patients"], row["n_events"]) == (0.5, 6, 6, 3)
    # m = 3 of either kind: variance 3 / 2 x 6 x 0.25 / 36, logit interval with t(5)
    assert row["std_error"] == pytest.approx(np.sqrt(1.5 * 1.5 / 36))
    assert row["headline"]
    assert found.closed.values.tolist() == [["2025-03", False]]
    assert found.left_out[["reason", "n_sites"]].values.tolist() == [["no implant placed", 1]]


def test_closed_one_month_earlier_one_implant_less_is_due(series):
    """31 December 2023 + 12 months, and 3 for a late visit, is not within data closed in February 2025."""
    at = fit(*series, [12], "2025-02").by_month.set_index("months")
    assert at.loc[12, ["n_not_yet_due", "n_due", "n_lost"]].tolist() == [1, 6, 0]


def test_what_the_tables_imply_is_told(series):
    """S5: 1 January 2020 + 40 months is May 2023, S6: 2023 + 6 months is July 2023. S6 is not due at 12."""
    found = fit(*series, [12], "")
    assert found.closed.values.tolist() == [["2023-07", True]]
    assert found.by_month["n_due"].tolist() == [6]
    assert "latest that the tables imply" in found.rows["note"].iloc[0]


def test_yearly_recalls_up_to_the_last_month_stated(series):
    assert fit(*series, [6, 30]).rows["term"].tolist() == ["6", "12", "24", "30"]
    assert fit(*series, [60]).rows.set_index("term").loc["60", "problem"] == "no implant was due by then"


def test_nobody_was_seen(series):
    """Without a visit nothing says how complete a follow-up was; without sites there is nothing due."""
    cases, visits = series
    at = fit(cases, visits.iloc[:0], [24])
    assert at.by_month.set_index("months").loc[24, ["n_due", "n_lost", "n_never_seen"]].tolist() == [6, 0, 6]
    assert at.rows["problem"].eq("no implant was followed").all()
    empty = fit(cases.iloc[:0], visits.iloc[:0], [24], "")
    assert empty.rows["estimate"].isna().all()
    assert empty.closed.empty


def implants(months, failed, died=None, patient=None) -> pd.DataFrame:
    n = len(months)
    return pd.DataFrame(
        {
            "patient_id": range(n) if patient is None else patient,
            "months": np.array(months, float),
            "failed": np.array(failed, bool),
            "died": np.zeros(n, bool) if died is None else np.array(died, bool),
        }
    )


def test_reverse_kaplan_meier_by_hand():
    """Ends at 10, 20, 20, 40, 50; a failure at 15 and a death at 30 censor.

    Still followed: 6/7 at 10, x 3/5 = 18/35 at 20, x 1/2 at 40 = 9/35, 0 at 50: median 40, quartiles 20 and 50.
    """
    table = implants([10, 15, 20, 20, 30, 40, 50], [0, 1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 1, 0, 0])
    rows = fit_followup_time(table).rows.set_index("term")
    assert rows.loc[["median", "q1", "q3"], "estimate"].tolist() == [40, 20, 50]
    assert (rows.loc["median", "n_events"], rows.loc["sum", "estimate"]) == (5, pytest.approx(185 / 12))


@pytest.mark.filterwarnings("ignore:Approximating")
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_median_follow_up_as_lifelines_has_it(seed):
    rng = np.random.default_rng(seed)
    months = np.round(rng.uniform(1, 80, 150))
    failed = rng.random(150) < 0.15
    other = KaplanMeierFitter().fit(months, ~failed)
    rows = fit_followup_time(implants(months, failed)).rows.set_index("term")
    assert rows.loc["median", "estimate"] == other.median_survival_time_
    assert rows.loc["q1", "estimate"] == other.percentile(0.75)
    assert rows.loc["q3", "estimate"] == other.percentile(0.25)


def test_follow_up_that_has_not_ended_has_no_median():
    """Three of four failed: only one follow-up ended, after the others."""
    rows = fit_followup_time(implants([10, 20, 30, 12], [1, 1, 1, 0])).rows.set_index("term")
    assert rows.loc["median", "problem"] == "the follow-up of too few implants has ended to tell"


def test_failures_per_100_implant_years():
    """Five patients, 4 failures in 20 implant-years: 20 per 100; patients' x - 0.2 y: 0.4, 0.6, -1.2, 0.8, -0.6."""
    patient = ["a", "b", "c", "d", "d", "e"]
    years = np.array([3, 2, 6, 3, 3, 3.0])
    table = implants(12 * years, [1, 1, 0, 1, 1, 0], patient=patient)
    row = fit_followup_time(table).rows.set_index("term").loc["rate"]
    left = np.array([0.4, 0.6, -1.2, 0.8, -0.6])
    std_error = 100 * np.sqrt(3 / 2 * (left @ left)) / 20
    assert (row["estimate"], row["std_error"]) == (pytest.approx(20), pytest.approx(std_error))
    assert row["conf_high"] == pytest.approx(20 * np.exp(T_OF_4 * std_error / 20))
    assert (row["df"], row["headline"]) == (4, True)


def test_without_a_failure_the_rate_has_a_bound():
    """Ten patients, 25 implant-years: at most 1 - 0.05^(1/10) of the ten implants, a rate of that times 10 / 25."""
    row = fit_followup_time(implants([30] * 10, [0] * 10)).rows.set_index("term").loc["rate"]
    assert row[["estimate", "conf_low"]].tolist() == [0, 0]
    assert row["conf_high"] == pytest.approx(100 * (1 - 0.05**0.1) * 10 / 25)
    assert "bound of one side" in row["note"]


def test_nothing_but_visits_at_placement_has_no_rate():
    row = fit_followup_time(implants([0, 0], [0, 0])).rows.set_index("term").loc["rate"]
    assert row["problem"] == "no implant was observed after placement"


def test_early_and_late_failures_and_the_patients_who_bear_them():
    """Found at 12 is early, at 12.1 late; patient a bears two of the three."""
    table = implants([12, 12.1, 3, 40], [1, 1, 1, 0], patient=["a", "a", "b", "c"])
    rows = fit_followup_time(table).rows
    found = rows[rows["analysis"].eq("followup.failures")].set_index("term")["estimate"]
    assert found.to_dict() == {"all": 3, "early": 2, "late": 1, "patients": 2}


def test_no_implant_was_followed():
    rows = fit_followup_time(implants([], [])).rows
    assert rows["problem"].eq("no implant was followed").all()
    assert set(rows["analysis"]) == {"followup.median", "followup.implant_years", "followup.rate"}
