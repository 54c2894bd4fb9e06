"""Survival if the implants lost to follow-up fared best, worst, or a share of them failed."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.sensitivity.lost import BEST, OBSERVED, WORST, fit_sensitivity_lost, lost_until, survival_if
from liftseries.models.survival.km import fit_survival_km


def fit_lost(implants, months, surgery_year=2010, data_until="2025-06"):
    """Of implants that were all due long ago, where nothing else is said."""
    return fit_sensitivity_lost(implants.assign(surgery_year=surgery_year), None, None, months, data_until)


@pytest.fixture(scope="module")
def implants():
    """Ten implants of ten patients: failed at 6 and 20, three lost at 12, one patient dead at 15, four seen at 36."""
    months = [6.0, 20, 12, 12, 12, 15, 36, 36, 36, 36]
    return pd.DataFrame(
        {
            "patient_id": range(10),
            "months": months,
            "failed": [True, True] + [False] * 8,
            "died": [month == 15 for month in months],
        }
    )


def test_best_and_worst_case_of_lost_implants(implants):
    """At 24 months: as seen 9/10 x 4/5; the three lasting, 9/10 x 7/8; failing at 12, 9/10 x 6/9 x 4/5."""
    rows = fit_lost(implants, [24]).rows.set_index("method")["estimate"]
    assert rows[OBSERVED] == pytest.approx(0.9 * 4 / 5)
    assert rows[BEST] == pytest.approx(0.9 * 7 / 8)
    assert rows[WORST] == pytest.approx(0.9 * 6 / 9 * 4 / 5)
    km = fit_survival_km(implants, [24]).rows.loc[0, "estimate"]
    assert rows[OBSERVED] == km


def test_a_share_of_the_lost_lies_between(implants):
    time, failed = implants["months"].to_numpy(), implants["failed"].to_numpy()
    lost = np.where(time == 12, 24.0, np.nan)
    shares = [survival_if(24, time, failed, lost, share) for share in (0.0, 0.5, 1.0)]
    assert shares[0] == pytest.approx(0.9 * 7 / 8)
    assert shares[2] == pytest.approx(0.9 * 6 / 9 * 4 / 5)
    # Half of each fails: 1.5 of 9 at 12, then one of 6.5 at 20.
    assert shares[1] == pytest.approx(0.9 * (1 - 1.5 / 9) * (1 - 1 / 6.5))


def test_tipping_point_brings_survival_to_its_lower_limit():
    rng = np.random.default_rng(4)
    months = rng.uniform(1, 60, 200)
    implants = pd.DataFrame(
        {"patient_id": np.arange(200), "months": months, "failed": rng.random(200) < 0.1, "died": False}
    )
    rows = fit_lost(implants, [36]).rows
    share = rows[rows["analysis"] == "sensitivity.tipping_point"]["estimate"].iloc[0]
    lost = ~implants["failed"].to_numpy() & (months < 33)  # the visit of month 36 may be 3 months early
    found = survival_if(36, months, implants["failed"].to_numpy(), np.where(lost, 36.0, np.nan), share)
    assert found == pytest.approx(rows[rows["method"] == OBSERVED]["conf_low"].iloc[0], abs=1e-8)
    assert 0 < share < 1


def test_without_losses_there_is_no_tipping_point(implants):
    stayed = implants.assign(months=implants["months"].where(implants["failed"], 40.0), died=False)
    rows = fit_lost(stayed, [24]).rows
    assert rows["problem"].str.contains("no implant was lost").any()


def test_the_worst_case_does_not_rise_with_the_months():
    """Closed at the end of 2012. One implant of 2010, last seen at 6 months, was due at 12 and not yet at 36; two of
    2008 were seen at 40. Failed after its last visit it leaves 2/3 at 12 and at 36; lasting it lasts to month 12.
    """
    seen = pd.DataFrame({"patient_id": list("abc"), "months": [6.0, 40, 40], "failed": False, "died": False})
    rows = fit_lost(seen, [12, 36], surgery_year=[2010, 2008, 2008], data_until="2012-12").rows
    worst = rows[rows["method"].eq(WORST)].set_index("term")
    assert worst["estimate"].to_dict() == pytest.approx({"12": 2 / 3, "36": 2 / 3})
    assert worst["n_events"].tolist() == [1, 1]
    reachable = np.array([24.0, 48, 48])
    lasts = lost_until([12, 36], seen["months"].to_numpy(), np.zeros(3, bool), np.zeros(3, bool), reachable)
    assert lasts[0] == 12
    assert np.isnan(lasts[1:]).all()


def test_nobody_lost_but_everybody_dead_or_failed(implants):
    """Deaths are no losses: best and worst case are what was observed."""
    gone = implants.assign(died=~implants["failed"])
    rows = fit_lost(gone, [18]).rows
    cases = rows[rows["analysis"] == "sensitivity.lost_implants"]
    assert cases["estimate"].nunique() == 1
    assert cases["conf_low"].nunique() == 1


def test_all_lost_before_the_month_asked_for(implants):
    """Nobody was seen at 60 months: only the best and the worst case say anything."""
    rows = fit_lost(implants, [60]).rows.set_index("method")
    assert rows.loc[OBSERVED, "problem"] == "the last follow-up ends at 36 months"
    assert rows.loc[BEST, "estimate"] == pytest.approx(0.9 * 7 / 8)
    assert rows.loc[WORST, "estimate"] == 0
    assert rows[rows["analysis"] == "sensitivity.tipping_point"]["problem"].str.contains("no lower limit").all()
