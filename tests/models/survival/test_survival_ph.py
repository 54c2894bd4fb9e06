"""Do hazard ratios change: size of the tests where patients share their fate, and rows where no test is possible."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.ph import CLUSTERED, SCORE, fit_survival_ph


@pytest.fixture(scope="module")
def implants():
    rng = np.random.default_rng(61)
    patient = np.repeat(np.arange(90), 2)
    months = np.ceil(rng.exponential(60, 180))
    table = {"patient_id": patient, "months": np.minimum(months, 60), "failed": months <= 60}
    smoking = rng.choice(["current", "former", "never"], 90)[patient]
    return pd.DataFrame(table | {"rbh_mid_mm": rng.uniform(2, 8, 180), "smoking": smoking})


def p_values(estimates):
    return estimates.rows.pivot(index="term", columns="method", values="p_value")


def test_a_test_knows_neither_units_nor_reference_level_nor_order(implants):
    """Centimetres, levels under other names, rows and terms shuffled: the same chi-squared."""
    renamed = implants["smoking"].map({"never": "a", "former": "b", "current": "c"})
    other = implants.assign(rbh_mid_mm=implants["rbh_mid_mm"] / 10 + 1e3, smoking=renamed).sample(
        frac=1, random_state=1
    )
    one = p_values(fit_survival_ph(implants, ["rbh_mid_mm", "smoking"]))
    pd.testing.assert_frame_equal(one, p_values(fit_survival_ph(other, ["smoking", "rbh_mid_mm"])), rtol=1e-6)


def test_a_longer_clock_changes_no_test(implants):
    """Time is counted by Kaplan-Meier, so any rising clock gives the same."""
    warped = implants.assign(months=implants["months"] ** 3 + 7)
    one, other = (fit_survival_ph(table, ["rbh_mid_mm", "smoking"]).rows for table in (implants, warped))
    np.testing.assert_allclose(one["estimate"], other["estimate"], rtol=1e-9)


def test_everything_three_times_in_the_same_patient_triples_only_the_naive_test(implants):
    """Without ties but for the copies; Efron's correction of those ties is what keeps it from being exact."""
    rng = np.random.default_rng(62)
    spread = implants.assign(months=implants["months"] + rng.uniform(0, 0.5, len(implants)))
    one = fit_survival_ph(spread, ["rbh_mid_mm"]).rows.set_index(["method", "term"])["estimate"]
    thrice = pd.concat([spread] * 3, ignore_index=True)
    three = fit_survival_ph(thrice, ["rbh_mid_mm"]).rows.set_index(["method", "term"])["estimate"]
    assert three[SCORE, "rbh_mid_mm"] == pytest.approx(3 * one[SCORE, "rbh_mid_mm"], rel=0.05)
    assert three[CLUSTERED, "rbh_mid_mm"] == pytest.approx(one[CLUSTERED, "rbh_mid_mm"], rel=0.05)


def test_residuals_average_to_the_coefficient(implants):
    """Schoenfeld residuals sum to zero at the estimate."""
    estimates = fit_survival_ph(implants, ["rbh_mid_mm", "smoking"])
    cox = fit_survival_cox(implants, ["rbh_mid_mm", "smoking"]).rows.query("method == 'sandwich'")
    cox = cox.set_index("term")["estimate"]
    by_term = estimates.residuals.groupby("term")
    assert set(by_term.groups) == set(cox.index)
    assert (by_term.size() == implants["failed"].sum()).all()
    np.testing.assert_allclose(by_term["residual"].mean(), cox[by_term["residual"].mean().index], rtol=1e-6)
    np.testing.assert_allclose(by_term["smooth"].mean(), by_term["residual"].mean(), rtol=1e-6)


def test_two_failures_or_a_missing_column_say_why(implants):
    few = implants.assign(failed=np.arange(180) == implants["months"].to_numpy().argmin())
    rows = fit_survival_ph(few, ["rbh_mid_mm", "flapless"]).rows
    assert rows["term"].tolist() == ["rbh_mid_mm", "GLOBAL", "flapless"] * 2
    assert rows["estimate"].isna().all()
    assert rows["problem"].ne("").all()
    assert rows.set_index("term")["problem"]["flapless"].eq("there is no such column").all()


@pytest.mark.parametrize(("n_failed", "told"), [(19, False), (20, True)])
def test_the_test_is_quoted_and_a_line_drawn_from_20_failures(implants, n_failed, told):
    few = implants.copy()
    few.loc[few.index[few["failed"]][n_failed:], "failed"] = False
    estimates = fit_survival_ph(few, ["rbh_mid_mm"])
    assert estimates.rows["n_events"].eq(n_failed).all()
    assert estimates.rows.loc[estimates.rows["headline"], "method"].tolist() == [CLUSTERED] * 2 * told
    assert estimates.residuals["smooth"].notna().all() == told
    assert estimates.rows["note"].eq("" if told else "19 events: too few to see a change over time").all()
