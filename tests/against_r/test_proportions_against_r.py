"""Wilson and exact limits of perforation.rate against R's prop.test and binom.test (proportions.R)."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.perforation.rate import fit_perforation_rate


@pytest.mark.parametrize("method", ["wilson", "exact"])
@pytest.mark.parametrize(("n_events", "n"), [(0, 40), (3, 100), (7, 112), (16, 232), (1, 12)])
def test_limits(r_rows, method, n_events, n):
    perforation = np.where(np.arange(n) < n_events, "yes", "no")
    cases = pd.DataFrame({"patient_id": np.arange(n), "perforation": perforation})
    row = fit_perforation_rate(cases).rows.set_index("method").loc[method]
    r = r_rows("proportions", method).loc[f"{n_events}/{n}"]
    ours = [row["estimate"], row["conf_low"], row["conf_high"]]
    np.testing.assert_allclose(ours, r[["value", "lower", "upper"]].astype(float), rtol=1e-10, atol=1e-15)
