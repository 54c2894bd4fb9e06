"""Lost implants and overlooked tears against R (sensitivity.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.sensitivity.lost import BEST, OBSERVED, WORST, fit_sensitivity_lost, survival_if

CLOSED_FORM = 1e-8


@pytest.fixture(scope="module")
def implants(series):
    status = series["status"]
    return pd.DataFrame(
        {
            "patient_id": series["patient_id"],
            "months": series["time_months"].astype(float),
            "failed": status == 1,
            "died": status == 2,
        }
    )


def test_best_and_worst_case_of_lost_implants(implants, r_rows):
    estimates = fit_sensitivity_lost(implants.assign(surgery_year=2010), None, None, [36], "2025-06")
    rows, r = estimates.rows.set_index("method"), r_rows("sensitivity", "lost")
    for method, key in ((OBSERVED, "as observed"), (BEST, "best case"), (WORST, "worst case")):
        ours = rows.loc[method, ["estimate", "std_error", "conf_low", "conf_high"]].to_numpy(float)
        np.testing.assert_allclose(ours, r.loc[key].to_numpy(float), rtol=CLOSED_FORM)
    tipping = rows[rows["analysis"] == "sensitivity.tipping_point"]["estimate"].iloc[0]
    assert tipping == pytest.approx(r.loc["tipping point", "value"], rel=CLOSED_FORM)


def test_survival_if_a_third_of_each_lost_implant_failed(implants, r_rows):
    time, failed = implants["months"].to_numpy(), implants["failed"].to_numpy()
    lost = ~failed & ~implants["died"].to_numpy() & (time < 33)
    survival = survival_if(36, time, failed, np.where(lost, 36.0, np.nan), 1 / 3)
    assert survival == pytest.approx(r_rows("sensitivity", "lost").loc["third", "value"], rel=CLOSED_FORM)


@pytest.mark.parametrize(("key", "n_patients"), [("many", None), ("few", 40)])
def test_contrast_of_groups_whose_tears_were_seen_apart(series, r_rows, key, n_patients):
    """Sandwich of the patients' sums; under 50 patients the bias-reduced one."""
    chosen = series["patient_id"].isin(series["patient_id"].unique()[:n_patients])
    cases = pd.DataFrame(
        {
            "patient_id": series["patient_id"],
            "septum": np.where(series["septa"] == 1, "yes", "no"),
            "perforation": np.where(series["perforation"] == 1, "yes", "no"),
        }
    )[chosen]
    rows = fit_sensitivity_detection(cases, ["septum"]).rows.set_index("term")
    for seen, r in r_rows("sensitivity", key).iterrows():
        ours = rows.loc[f"septum[yes] {seen}"]
        assert ours["estimate"] == pytest.approx(r["value"], rel=CLOSED_FORM)
        assert ours["std_error"] == pytest.approx(r["se"], rel=1e-7)
        assert ours["df"] == 38 if n_patients else np.isnan(ours["df"])
