"""Headline rows by month, worked by hand where nobody, one patient or two have a failure; ties; who is at risk."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import names_in
from liftseries.estimators.kaplan_meier import kaplan_meier
from liftseries.estimators.rmst import restricted_mean
from liftseries.models.shared.follow_up import failure_intervals, follow_up
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.corrected import by_month
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.failures import failed_implants
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.rmst import fit_survival_rmst

Z = 1.959963984540054  # R: qnorm(0.975)
T_OF_4 = 2.7764451051977987  # R: qt(0.975, 4)
CP_1_OF_4 = (0.006309463, 0.8058796)  # R: binom.test(1, 4)$conf.int
LIMITS = ["conf_low", "conf_high"]


def implants(months, failed, patient=None, **columns):
    """One row an implant; without `patient` each has its own."""
    patient = range(len(months)) if patient is None else patient
    table = pd.DataFrame({"patient_id": list(patient), "months": np.array(months, float), "failed": failed})
    return table.assign(died=False, **columns)


def corrected(estimates, term):
    """The corrected row of a month."""
    rows = estimates.rows.query("method == 'corrected' and subset == 'all'")
    (row,) = rows[rows["term"].eq(str(term))].to_dict("records")
    return row


TWO = implants([6, 12, 24, 24, 24], [True, True, False, False, False])
ONE = implants([6, 12, 24, 24, 24], [True, False, False, False, False])
NONE = implants([30, 12, 24, 24, 24], [True, False, False, False, False])


# ── m = 2 ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_two_patients_with_a_failure_double_the_variance():
    """S(12) = 3/5, the variance of a share 0.6 x 0.4 / 5 = 0.048, times 2 / 1; the failure at 12 is one of the two."""
    row = corrected(fit_survival_km(TWO, [12]), 12)
    se = np.sqrt(2 * 0.048)
    assert row["estimate"] == pytest.approx(0.6)
    assert row["std_error"] == pytest.approx(se)
    width = Z * se / abs(0.6 * np.log(0.6))
    assert [row[name] for name in LIMITS] == pytest.approx([0.6 ** np.exp(width), 0.6 ** np.exp(-width)])


def test_three_patients_with_a_failure_and_one_of_them_with_two():
    """m counts patients: failures at 6, 6, 8 and 10 in three patients give 3 / 2."""
    table = implants([6, 6, 8, 10, 24, 24], [True] * 4 + [False] * 2, "aabcde")
    plain, row = fit_survival_km(table, [12]).rows.to_dict("records")
    assert row["std_error"] == pytest.approx(plain["std_error"] * np.sqrt(3 / 2))


def test_incidence_of_two_is_one_less_survival_and_a_death_is_no_failure():
    survival, failure = corrected(fit_survival_km(TWO, [12]), 12), corrected(fit_survival_competing(TWO, [12]), 12)
    assert [failure[name] for name in LIMITS] == pytest.approx([1 - survival["conf_high"], 1 - survival["conf_low"]])
    deaths = ONE.assign(died=[False, True, False, False, False])
    assert names_in(corrected(fit_survival_competing(deaths, [12]), 12)["note"]) >= {"bound_of_one_patient"}


def test_months_in_function_of_two_with_a_failure_at_the_horizon():
    """To 12: 6 x 1 + 6 x 4/5 = 10.8; the mean of 6, 12, 12, 12, 12, variance 28.8 / 25, and m = 2 by month 12."""
    plain, row = fit_survival_rmst(TWO, [12]).rows.to_dict("records")
    assert row["estimate"] == pytest.approx(10.8)
    assert plain["std_error"] == pytest.approx(np.sqrt(28.8 / 25))
    se = np.sqrt(2 * 28.8 / 25)
    assert row["std_error"] == pytest.approx(se)
    factor = np.exp(T_OF_4 * se / 1.2)
    assert [row[name] for name in LIMITS] == pytest.approx([max(12 - 1.2 * factor, 0), 12 - 1.2 / factor])
    assert row["df"] == 4


# ── m = 1 ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_one_patient_with_a_failure_leaves_the_exact_interval_of_one_in_those_followed():
    """Four of five are followed to month 12, one of them until then and no longer."""
    survival, failure = corrected(fit_survival_km(ONE, [12]), 12), corrected(fit_survival_competing(ONE, [12]), 12)
    low, high = CP_1_OF_4
    assert [survival[name] for name in LIMITS] == pytest.approx([1 - high, 1 - low], rel=1e-6)
    assert [failure[name] for name in LIMITS] == pytest.approx([low, high], rel=1e-6)
    assert np.isnan(survival["std_error"])
    assert "bound_of_one_patient" in names_in(survival["note"])
    after = corrected(fit_survival_km(ONE, [13]), 13)
    assert after["conf_low"] == pytest.approx(1 - 0.9057007, rel=1e-6)  # R: binom.test(1, 3)


def test_one_patient_with_most_of_the_implants_widens_it_to_hold_what_was_seen():
    """30 of 40 implants are one patient's and all failed; 1 in 10 patients followed reaches to 0.445 only."""
    table = implants([6] * 30 + [24] * 10, [True] * 30 + [False] * 10, ["p"] * 30 + list(range(10)))
    row = corrected(fit_survival_km(table, [12]), 12)
    assert row["estimate"] == pytest.approx(0.25)
    assert [row[name] for name in LIMITS] == pytest.approx([0.25, 0.975**0.1])


def test_months_in_function_of_one_bound_the_share_of_the_months_lost():
    row = corrected(fit_survival_rmst(ONE, [12]), 12)
    low, high = CP_1_OF_4
    assert row["estimate"] == pytest.approx(10.8)
    assert [row[name] for name in LIMITS] == pytest.approx([12 * (1 - high), 12 * (1 - low)], rel=1e-6)
    assert np.isnan(row["df"])
    assert "t_less_one" not in names_in(row["note"])


# ── m = 0 ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_no_failure_leaves_a_bound_of_one_side_by_those_followed():
    """Five patients are followed to month 12, four to 13: 0.05^(1/5) and 0.05^(1/4)."""
    for month, k in ((12, 5), (13, 4)):
        bound = 0.05 ** (1 / k)
        survival = corrected(fit_survival_km(NONE, [month]), month)
        assert (survival["estimate"], survival["problem"]) == (1, "")
        assert [survival[name] for name in LIMITS] == pytest.approx([bound, 1])
        assert "bound_without_failure" in names_in(survival["note"])
        failure = corrected(fit_survival_competing(NONE, [month]), month)
        assert [failure[name] for name in LIMITS] == pytest.approx([0, 1 - bound])
        months = corrected(fit_survival_rmst(NONE, [month]), month)
        assert [months[name] for name in LIMITS] == pytest.approx([month * bound, month])


def test_a_failure_at_the_month_counts_in_it_and_not_before():
    table = implants([12, 24, 24], [True, False, False])
    rows = fit_survival_km(table, [11.9, 12]).rows.query("method == 'infinitesimal_jackknife'")
    assert rows["estimate"].tolist() == pytest.approx([1, 2 / 3])
    seen = by_month(table["months"], table["failed"], table["patient_id"], [11.9, 12, 12.1])
    assert seen.n_failing.tolist() == [0, 1, 1]
    assert seen.n_followed.tolist() == [3, 3, 2]
    assert seen.n_at_risk.tolist() == [3, 3, 2]


def test_fewer_than_two_patients_followed_bound_nothing():
    row = corrected(fit_survival_km(implants([12, 24], [False, False]), [18]), 18)
    assert np.isnan(row["conf_low"])
    assert row["problem"] == "too few patients (1 patient) followed until then"
    assert not row["headline"]


# ── ties, the horizon, dates ────────────────────────────────────────────────────────────────────────────────


def test_an_implant_censored_at_a_month_is_at_risk_for_a_failure_at_it():
    """Three at risk at 12, not two: 2/3; and the order of the rows does not matter."""
    for months, failed in (([12, 12, 24], [True, False, False]), ([12, 12, 24], [False, True, False])):
        curve = kaplan_meier(months, failed, list("abc"))
        assert curve.survival.tolist() == pytest.approx([2 / 3])
        assert curve.n_at_risk.tolist() == [3]
        assert fit_survival_competing(implants(months, failed), [12]).rows["estimate"].iloc[0] == pytest.approx(1 / 3)


def test_failures_at_the_horizon_cost_no_month_and_the_last_follow_up_may_be_there():
    """6 + 6 x 3/4 = 10.5 whether the others failed at the horizon or were in function at it."""
    for failed in ([True, True, True, True], [True, False, False, False], [True, True, False, False]):
        mean = restricted_mean([6, 12, 12, 12], failed, 12)
        assert mean.months == pytest.approx(10.5)
        assert mean.influence.tolist() == pytest.approx([-1.125, 0.375, 0.375, 0.375])
    rows = fit_survival_rmst(implants([12, 12, 24, 24], [True, True, False, False]), [12]).rows
    assert rows["estimate"].tolist() == [12, 12]
    assert rows["problem"].str.contains("none of the months is lost").all()


def test_in_function_at_the_visit_of_its_failure_is_not_in_function():
    """Two rows of one visit, as two people wrote them: the failure holds, and lies after the visit before."""
    visits = pd.DataFrame(
        {
            "site_id": ["s"] * 4,
            "months": [6.0, 12, 12, 24],
            "status": ["functioning", "functioning", "failed", "functioning"],
        }
    )
    cases = pd.DataFrame({"site_id": ["s"], "patient_id": ["p"]})
    table = follow_up(visits, cases).implants
    assert table[["months", "failed", "last_in_function"]].to_numpy().tolist() == [[12.0, True, 6.0]]
    assert [limit.tolist() for limit in failure_intervals(table)] == [[6.0], [12.0]]


# ── who is at risk ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("n_at_risk", "n", "quoted"), [(19, 100, False), (20, 200, True), (20, 201, False)])
def test_a_month_is_quoted_while_20_and_a_tenth_are_at_risk(n_at_risk, n, quoted):
    """Those at risk end exactly at the month; two more failed early."""
    rest = n - n_at_risk - 2
    table = implants([3, 4] + [12] * rest + [36] * n_at_risk, [True, True] + [False] * (n - 2))
    for fit in (fit_survival_km, fit_survival_competing, fit_survival_rmst):
        row = corrected(fit(table, [36]), 36)
        assert row["headline"] is quoted
        assert np.isfinite(row["conf_low"])
        assert ("below_gate_at_risk" in names_in(row["note"])) is not quoted
    end = fit_survival_km(table, [36]).curves["months"].max()
    assert end == (36 if quoted else 12)


def test_a_curve_ends_with_those_at_risk_and_bears_the_limits_of_its_months():
    months = [6, 18, 30] + [24] * 10 + [40] * 20
    table = implants(months, [True] * 3 + [False] * 30)
    estimates = fit_survival_km(table, [12, 24, 60])
    assert estimates.curves["months"].tolist() == [0, 6, 12, 18, 24, 30, 40]
    curve = estimates.curves.set_index("months")
    for month in (12, 24):
        row = corrected(estimates, month)
        assert curve.loc[month, ["survival", *LIMITS]].tolist() == [row["estimate"], row["conf_low"], row["conf_high"]]
    assert curve.loc[0, LIMITS].tolist() == pytest.approx([0.05 ** (1 / 33), 1])
    few = fit_survival_km(table.iloc[:19], [12]).curves
    assert few.empty


def test_only_corrected_rows_are_headlines():
    table = implants([6, 18] + [40] * 40, [True, True] + [False] * 40)
    rows = pd.concat(
        [fit(table, [12, 36]).rows for fit in (fit_survival_km, fit_survival_competing, fit_survival_rmst)]
    )
    assert rows["headline"].eq(rows["method"].eq("corrected")).all()


# ── hazards ─────────────────────────────────────────────────────────────────────────────────────────────────


def hazards(n_failed, n, seed=3, implants_each=2):
    """n implants in pairs, the first n_failed of a shuffled list failed."""
    rng = np.random.default_rng(seed)
    failed = np.isin(np.arange(n), rng.permutation(n)[:n_failed])
    return implants(rng.uniform(1, 60, n), failed, np.arange(n) // implants_each, rbh_mid_mm=rng.uniform(2, 8, n))


@pytest.mark.parametrize(("n_failed", "quoted"), [(499, False), (500, True)])
def test_the_cox_model_is_quoted_from_500_failures(n_failed, quoted):
    rows = fit_survival_cox(hazards(n_failed, 1400), ["rbh_mid_mm"]).rows.set_index("method")
    assert rows["headline"].to_dict() == {"sandwich": False, "corrected": quoted}
    assert ("quoted_instead" in names_in(rows.loc["corrected", "note"])) is not quoted


def test_the_corrected_cox_row_takes_the_fewer_patients():
    table = hazards(12, 60)
    m = table.loc[table["failed"], "patient_id"].nunique()
    estimates = fit_survival_cox(table, ["rbh_mid_mm"])
    plain, row = estimates.rows.to_dict("records")
    assert row["df"] == m - 1
    naive = plain["std_error"] / np.sqrt(estimates.design_effects["estimate"].iloc[0])
    assert row["std_error"] == pytest.approx(max(plain["std_error"] * np.sqrt(m / (m - 1)), naive))
    lasting = table.assign(failed=~table["failed"])
    of_lasting = fit_survival_cox(lasting, ["rbh_mid_mm"]).rows.iloc[1]
    assert of_lasting["df"] == m - 1


def test_the_corrected_cox_row_is_never_surer_than_the_model():
    """Pairs whose two implants pull against each other leave a sandwich far below the model's own error."""
    n = 40
    months = np.repeat(np.arange(1.0, n / 2 + 1), 2)
    height = np.tile([3.0, 7.0], n // 2) + np.tile([0.1, 0.0, 0.0, 0.2], n // 4)
    table = implants(months, [True] * n, np.arange(n) // 2, rbh_mid_mm=height)
    table.loc[[n - 1, n - 3], "failed"] = False
    estimates = fit_survival_cox(table, ["rbh_mid_mm"])
    plain, row = estimates.rows.to_dict("records")
    effect = estimates.design_effects["estimate"].iloc[0]
    assert effect < 0.4
    assert row["std_error"] == pytest.approx(plain["std_error"] / np.sqrt(effect))


def test_one_patient_with_all_failures_has_no_interval():
    table = hazards(0, 40)
    table.loc[[0, 1], ["failed", "months"]] = [[True, 20.0], [True, 30.0]]
    plain, row = fit_survival_cox(table, ["rbh_mid_mm"]).rows.to_dict("records")
    assert np.isfinite(plain["conf_low"])
    assert np.isnan(row["std_error"])
    assert row["estimate"] == plain["estimate"]
    assert "are one patient's" in row["problem"]


@pytest.mark.parametrize(("n_failed", "n_told"), [(0, 0), (1, 1), (4, 4), (5, 0)])
def test_failed_implants_are_told_one_by_one_up_to_four(n_failed, n_told):
    table = implants(np.arange(10, 0, -1), np.arange(10) < n_failed, rbh_mid_mm=5.0, smoking="never")
    told = failed_implants(table)
    assert len(told) == n_told
    assert told.columns.tolist() == ["rbh_mid_mm", "months", "smoking"]
    assert told["months"].is_monotonic_increasing
    assert failed_implants(table.drop(columns="smoking"))["smoking"].isna().all()
