"""Chained equations against R's mice, 400 sets there (imputation.R); the Nelson-Aalen hazard against R's survival."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.perforation.imputed import perforation_imputed_draws
from liftseries.models.survival.imputed import cumulative_hazard, survival_imputed_draws

SETS_OF_R = 400
SETS = 100
TERMS = {"residual_bone_mm": "residual_bone_mm", "smoker[1]": "smoker1"}  # ours → R's


@pytest.fixture(scope="module")
def gaps(series):
    """The series with the holes of imputation.R, each site taken as a patient, as mice does."""
    i = np.arange(1, len(series) + 1)
    group = pd.Series(np.array(["a", "b", "c"])[(series["operator"] - 1) // 2])
    return pd.DataFrame(
        {
            "patient_id": i,
            "perforation": np.where(series["perforation"] == 1, "yes", "no"),
            "months": series["time_months"].astype(float),
            "failed": series["status"].eq(1),
            "residual_bone_mm": series["residual_bone_mm"].mask((i % 5 < 2) & (series["planned_mm"] > 5)),
            "smoker": series["smoker"].astype(str).mask(i % 4 == 0),
            "group": group.mask(i % 7 == 0),
            "planned_mm": series["planned_mm"],
        }
    )


@pytest.mark.parametrize(
    ("key", "drawn"),
    [("logistic", perforation_imputed_draws), ("cox", survival_imputed_draws)],
    ids=["logistic", "cox"],
)
def test_pooled_as_mice(gaps, r_rows, key, drawn):
    """Both are random: the estimates may differ by 3.3 standard errors of simulation (once in a thousand).

    With 100 sets the variance between them is known to 14 % (√(2 / 99)) and is a third of the total at most, so the
    standard errors may differ by 8 %, three times what simulation alone makes of them.
    """
    draws = drawn(gaps, ["residual_bone_mm", "smoker"], ["group", "planned_mm"], [], 3, 0, SETS, 5)
    r = r_rows("imputation", key)
    for term, named in TERMS.items():
        found = draws[draws["term"].eq(term)]
        between = found["estimate"].var()
        of_simulation = np.sqrt(between / SETS + r.loc[f"{named} between", "value"] / SETS_OF_R)
        assert abs(found["estimate"].mean() - r.loc[named, "value"]) < 3.3 * of_simulation
        std_error = np.sqrt(found["variance"].mean() + (1 + 1 / SETS) * between)
        assert std_error == pytest.approx(r.loc[named, "se"], rel=0.08)


def test_cumulative_hazard(series, r_rows):
    r = r_rows("imputation", "nelson_aalen")["value"]
    r.index = r.index.astype(float)
    months = series["time_months"].to_numpy(float)
    ours = cumulative_hazard(months, series["status"].eq(1).to_numpy())
    np.testing.assert_allclose(ours, r[months], rtol=1e-10)
