"""The landmark: which bone height counts, from when time runs, and who is left out for which reason."""

import numpy as np
import pytest
from invented import invented_cases, invented_visits

from liftseries.estimators.cox import cox_regression
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.gain import fit_survival_gain


@pytest.fixture(scope="module")
def series():
    cases = invented_cases(120, seed=51)
    visits = invented_visits(cases, seed=52)
    # Every fifth site was never measured by the landmark, every seventh only at surgery.
    number = visits["site_id"].str[1:].astype(int)
    early = visits["months"] <= 12
    hidden = (early & (number % 5 == 0)) | (early & (visits["months"] > 0) & (number % 7 == 0))
    return cases, visits.assign(bone_height_mm=visits["bone_height_mm"].mask(hidden))


def test_rows_are_those_of_a_landmark_set_built_by_hand(series):
    """Site by site in a loop: on after 12 months, last height up to then, time since then."""
    cases, visits = series
    implants = follow_up(visits, cases).implants
    rbh = cases.set_index("site_id")["rbh_mid_mm"]
    told, n_unmeasured, n_failed, n_gone = [], 0, 0, 0
    for implant in implants.itertuples():
        if implant.months <= 12:
            n_failed, n_gone = n_failed + implant.failed, n_gone + (not implant.failed)
            continue
        own = visits[(visits["site_id"] == implant.site_id) & (visits["months"] <= 12)]
        heights = own.sort_values("months")["bone_height_mm"].dropna()
        if len(heights) == 0:
            n_unmeasured += 1
            continue
        gain = heights.iloc[-1] - rbh[implant.site_id]
        told.append((implant.months - 12, implant.failed, gain, implant.rbh_mid_mm, implant.patient_id))
    months, failed, gain, mid, patient = (np.array(column) for column in zip(*told, strict=True))
    model = cox_regression(months, failed, np.column_stack([gain, mid]), patient)

    estimates = fit_survival_gain(visits, implants, cases, ["rbh_mid_mm"], 12.0)
    sandwich = estimates.rows[estimates.rows["method"].eq("sandwich")]
    np.testing.assert_allclose(sandwich["estimate"], model.coefficients, rtol=1e-9)
    np.testing.assert_allclose(sandwich["std_error"], model.std_error, rtol=1e-9)
    assert estimates.rows["n_sites"].eq(len(told)).all()
    assert estimates.rows["n_events"].eq(failed.sum()).all()
    left_out = estimates.left_out.set_index("reason")["n_sites"].to_dict()
    assert left_out == {
        "failed by the landmark": n_failed,
        "not followed beyond the landmark": n_gone,
        "gain_mm missing": n_unmeasured,
    }
    assert sum(left_out.values()) + len(told) == len(implants)
    assert n_unmeasured > 0


def test_a_landmark_after_everything_says_so(series):
    cases, visits = series
    rows = fit_survival_gain(visits, follow_up(visits, cases).implants, cases, ["rbh_mid_mm"], 60.0).rows
    assert set(rows["term"]) == {"gain_mm", "rbh_mid_mm"}
    assert rows["estimate"].isna().all()
    assert rows["problem"].str.contains("beyond the landmark at 60 months").all()


def test_gain_asked_for_twice_stands_once(series):
    cases, visits = series
    rows = fit_survival_gain(visits, follow_up(visits, cases).implants, cases, ["gain_mm", "rbh_mid_mm"], 12.0).rows
    assert rows.query("method == 'sandwich'")["term"].tolist() == ["gain_mm", "rbh_mid_mm"]
