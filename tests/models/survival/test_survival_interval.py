"""Failures between two visits as rows: few failures, early failures only, visits at months of their own."""

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.weibull import weibull_interval
from liftseries.models.shared.follow_up import failure_intervals
from liftseries.models.survival.interval import fit_survival_interval
from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws

MONTHS = [12, 36, 60]


def seen(patients, visits_of, months_to_failure, seed):
    """One row an implant, two implants a patient; `visits_of(rng)` gives an implant's visits after placement."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(2 * patients):
        visits = np.r_[0.0, visits_of(rng)]
        k = np.searchsorted(visits, rng.exponential(months_to_failure))
        failed = k < len(visits)
        rows.append((f"S{i}", f"P{i // 2}", visits[k] if failed else visits[-1], failed, False, visits[k - 1]))
    columns = ["site_id", "patient_id", "months", "failed", "died", "last_in_function"]
    implants = pd.DataFrame(rows, columns=columns)
    return implants.assign(rbh_mid_mm=rng.uniform(2, 8, len(implants)))


def scheduled(rng):
    return np.array([3.0, 6, 12, 24, 36, 48, 60])[: rng.integers(5, 8)]


def appointments(rng):
    """Whenever a patient came, to the day."""
    return np.cumsum(rng.uniform(1, 12, rng.integers(1, 9)))


@pytest.mark.parametrize("seed", range(8))
def test_no_standard_error_is_below_that_of_independent_implants(seed):
    """With one failure or two a sandwich alone gives the curve a thirtieth of that variance at some months."""
    implants = seen(60, scheduled, 3000, seed)
    clustered = fit_survival_interval(implants, ["rbh_mid_mm"], MONTHS)
    effects = clustered.design_effects.set_index("term")["estimate"]
    rows = clustered.rows[clustered.rows["std_error"].notna()]
    assert len(rows) or clustered.rows["problem"].ne("").all()
    names = rows["analysis"] + " " + rows["term"]
    assert set(names) == set(effects.index)
    single = weibull_of(implants)
    for row, name in zip(rows.itertuples(), names, strict=True):
        if name in single:
            assert row.std_error >= single[name] * (1 - 1e-9)


def weibull_of(implants):
    """Model-based standard errors of the curve: delta method on the estimator's naive covariance."""
    left, right = failure_intervals(implants)
    tells = (left > 0) | np.isfinite(right)
    x = np.column_stack([np.ones(len(implants)), implants["rbh_mid_mm"]])[tells]
    try:
        fit = weibull_interval(left[tells], right[tells], x, np.arange(tells.sum()))
    except NotFitted:
        return {}
    parts = [fit.mean_survival(x, month)[2][0] for month in MONTHS]
    return {f"survival.interval_curve {month}": se for month, se in zip(MONTHS, parts, strict=True)}


def test_early_failures_only_say_so():
    """All lost by the first visit, as before loading: no Weibull; the row points to the estimate without a model."""
    implants = seen(60, scheduled, 1e9, 1)
    early = implants.index[:5]
    implants.loc[early, ["months", "failed", "last_in_function"]] = [3.0, True, 0.0]
    rows = fit_survival_interval(implants, ["rbh_mid_mm"], MONTHS).rows
    assert rows["estimate"].isna().all()
    assert rows["problem"].str.contains("first visits only").all()
    assert rows["problem"].str.contains("see survival.turnbull").all()
    assert rows["term"].tolist() == ["(intercept)", "rbh_mid_mm", "(log shape)", "12", "36", "60"]


def test_visits_to_the_day_settle_in_every_resample():
    """Hardly two visits in the same month: as many distinct intervals as implants, and masses that fade slowly."""
    implants = seen(60, appointments, 250, 2)
    draws = turnbull_draws(implants, MONTHS, 3, 0, 60)
    assert draws["replicate"].nunique() == 60
    at_36 = draws[draws["months"] == 36]
    assert at_36["survival"].between(0, 1).all()
    row = fit_survival_turnbull(implants, MONTHS, draws).rows.set_index("term").loc["36"]
    assert row["conf_low"] < row["estimate"] < row["conf_high"]
    assert row["estimate"] == pytest.approx(at_36["survival"].mean(), abs=2 * row["std_error"])
