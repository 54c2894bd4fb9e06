"""Over-dispersion, shrunken rates, CUSUM, learning and years."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import CHANCE, CUSUM, MIX, PLAN, counted, operators
from scipy import stats
from scipy.special import expit, logit

from liftseries.base.remarks import names_in
from liftseries.estimators.cusum import scores
from liftseries.models.audit.between import fit_audit_between
from liftseries.models.audit.by_year import fit_audit_year
from liftseries.models.audit.case_mix import CaseMix
from liftseries.models.audit.learning import cases_told, fit_audit_learning
from liftseries.models.audit.over_time import COLUMNS, fit_audit_cusum
from liftseries.models.audit.units import audited
from liftseries.models.perforation.firth import fit_perforation_firth


def between(cases, **asked):
    return fit_audit_between(cases, **{"period": [], **PLAN, **CHANCE, **asked}).rows


def cusum(cases, **asked):
    return fit_audit_cusum(cases, **{**PLAN, **CUSUM, **CHANCE, "case_mix": MIX, **asked})


def of(rows, term, subset="all"):
    return rows[rows["term"].eq(term) & rows["subset"].eq(subset)].iloc[0]


# ── between units ───────────────────────────────────────────────────────────────────────────────────────────


def test_overdispersion_of_sites_of_their_own_is_pearsons_chi_square():
    """Independent sites: Σ (x - n p)² / (n p (1 - p)) is Pearson's statistic, each unit adds 1; p near χ²'s."""
    cases = counted({"A": (12, 80), "B": (22, 80), "C": (11, 80), "D": (15, 80)})
    rows = between(cases)
    table = [[12, 22, 11, 15], [68, 58, 69, 65]]
    pearson = stats.chi2_contingency(table, correction=False)
    statistic = of(rows, "statistic")
    assert statistic["estimate"] == pytest.approx(pearson[0], rel=1e-10)
    assert of(rows, "expected")["estimate"] == pytest.approx(4)
    simulated = stats.chi2.sf(pearson[0], 4)  # the rate is fixed, so that no degree of freedom is lost
    assert statistic["p_value"] == pytest.approx(simulated, abs=0.03)
    assert names_in(statistic["note"]) == {"simulated"}


def test_a_units_draws_depend_on_itself_alone():
    cases = counted({"A": (12, 80), "B": (22, 80), "C": (11, 80), "D": (15, 80)})
    shuffled = cases.sample(frac=1, random_state=2)
    assert of(between(cases), "statistic")["p_value"] == of(between(shuffled), "statistic")["p_value"]
    assert of(between(cases, seed=6), "statistic")["p_value"] != of(between(cases), "statistic")["p_value"]


def test_shrunken_rates_lie_between_their_own_and_the_mean():
    events = {"A": (12, 80), "B": (29, 80), "C": (3, 80), "D": (15, 80), "E": (14, 70)}
    rows = between(counted(events))
    mean = of(rows, "pooled")["estimate"]
    assert of(rows, "tau")["estimate"] > 0
    for unit, (x, n) in events.items():
        row = of(rows, "rate", f"operator={unit}")
        assert min(x / n, expit(mean)) - 0.01 < row["estimate"] < max(x / n, expit(mean)) + 0.01
        assert row["conf_low"] < row["estimate"] < row["conf_high"]
    half = stats.t.ppf(0.975, 3) * np.hypot(of(rows, "tau")["estimate"], of(rows, "pooled")["std_error"])
    assert of(rows, "prediction_low")["estimate"] == pytest.approx(expit(mean - half), rel=1e-8)
    assert of(rows, "prediction_high")["estimate"] == pytest.approx(expit(mean + half), rel=1e-8)


def test_below_five_units_nothing_is_predicted_and_one_is_not_compared():
    rows = between(counted({"A": (12, 80), "B": (22, 80), "C": (11, 80), "D": (15, 80)}))
    assert names_in(of(rows, "prediction_low")["problem"]) == {"too_few_units_to_predict"}
    assert names_in(of(between(counted({"A": (12, 80)})), "statistic")["problem"]) == {"too_few_units"}
    two = between(counted({"A": (12, 80), "B": (22, 80)}))
    assert of(two, "statistic")["estimate"] > 0
    assert of(two, "rate", "operator=A")["estimate"] > 0
    silent = between(counted({"A": (12, 80), "B": (22, 80)}), expected={"C": {2021: 5}})
    assert names_in(of(silent, "rate", "operator=C")["problem"]) == {"no_site_in_period"}


# ── CUSUM ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_charts_are_those_of_a_loop():
    """W, S and new starts, case by case, of the risks that the case mix gives."""
    cases = operators(200)
    found = cusum(cases, limits={"OP2": {"up": 0.9, "down": 0.4}})
    audit = audited(cases, "operator")
    mix = CaseMix(audit, MIX)
    assert list(found.charts.columns) == COLUMNS.split()
    for number, unit in enumerate(audit.names):
        risk = dict(zip(audit.table["site_id"], mix.risks(number), strict=True))
        mine = cases[cases["operator"].eq(unit)].sort_values(["operator_case_no", "site_id"])
        chart = found.charts[found.charts["unit"].eq(unit)]
        assert chart["site_id"].tolist() == mine["site_id"].tolist()
        assert chart["case"].tolist() == list(range(1, len(mine) + 1))
        rows = found.rows[found.rows["subset"].eq(f"operator={unit}")].set_index(["term", "method"])
        for method, ratio in (("up", 2.0), ("down", 0.5)):
            limit, s, signals, less = rows.loc[("limit", method), "estimate"], 0.0, [], 0.0
            for case, (site, torn) in enumerate(zip(mine["site_id"], mine["perforation"].eq("yes"), strict=True), 1):
                s = max(0.0, s + scores([torn], [risk[site]], ratio)[0])
                less += torn - risk[site]
                row = chart.iloc[case - 1]
                assert row[method] == pytest.approx(s, abs=1e-12)
                assert row["observed_less_expected"] == pytest.approx(less, abs=1e-10)
                if s >= limit - 1e-9:
                    signals.append(case)
                    s = 0.0
                assert (method in row["signal"].split()) == (case in signals)
            assert rows.loc[("signals", method), "estimate"] == len(signals)
            assert rows.loc[("final", method), "estimate"] == pytest.approx(s, abs=1e-12)
            first = rows.loc[("first_signal", method)]
            assert first["estimate"] == signals[0] if signals else names_in(first["problem"]) == {"no_signal"}
    assert "kept_limit" in names_in(rows_note(found.rows, "OP2", "limit", "up"))
    assert rows_of(found.rows, "OP2", "limit", "up") == 0.9


def rows_of(rows, unit, term, method, column="estimate"):
    at = rows["subset"].eq(f"operator={unit}") & rows["term"].eq(term) & rows["method"].eq(method)
    return rows.loc[at, column].iloc[0]


def rows_note(rows, unit, term, method):
    return rows_of(rows, unit, term, method, "note")


def test_an_operator_at_many_times_the_odds_signals():
    cases = counted({"A": (4, 60), "B": (3, 60), "C": (3, 60), "bad": (20, 40)})
    rows = cusum(cases).rows
    assert rows_of(rows, "bad", "signals", "up") >= 1
    assert rows_of(rows, "bad", "first_signal", "up") <= 10
    assert rows_of(rows, "A", "signals", "up") == 0


def test_ties_of_the_count_go_by_site_and_sites_without_one_stay_out():
    cases = counted({"A": (10, 30), "B": (5, 60)})
    numbers = np.where(np.arange(len(cases)) < 30, np.repeat(np.arange(1, 11), 3)[np.arange(len(cases)) % 30], 1)
    cases["operator_case_no"] = pd.array(numbers, dtype="Int64")
    cases.loc[0, "operator_case_no"] = pd.NA
    chart = cusum(cases.sample(frac=1, random_state=1)).charts
    assert chart[chart["unit"].eq("A")]["site_id"].tolist() == [f"S{k:04d}" for k in range(1, 30)]


def test_over_time_only_operators_are_watched():
    cases = operators()
    rows = cusum(cases, by="centre").rows
    assert rows["estimate"].isna().all()
    assert set().union(*rows["problem"].map(names_in)) == {"not_by_operator"}


def test_no_limit_where_even_none_of_a_hundred_is_no_surprise():
    """At a risk of 1 %, no tear in 20 cases is likely: a downward sum says nothing."""
    cases = counted({"A": (6, 600), "B": (5, 500)})
    rows = cusum(cases, cusum_cases=20).rows
    assert np.isnan(rows_of(rows, "A", "limit", "down"))
    assert names_in(rows_of(rows, "A", "limit", "down", "problem")) == {"no_limit"}
    assert rows_of(rows, "A", "final", "down") >= 0
    assert rows_of(rows, "A", "final", "down", "headline")
    assert rows_of(rows, "A", "final", "down", "scale") == "log_likelihood_ratio"
    assert not rows_of(rows, "A", "limit", "down", "headline")


def test_an_operator_whose_cases_lack_the_case_mix_has_no_chart():
    cases = counted({"A": (8, 60), "B": (6, 60), "C": (6, 60)})
    cases.loc[cases["operator"].eq("B"), "rbh_mid_mm"] = np.nan
    found = cusum(cases)
    assert names_in(rows_of(found.rows, "B", "limit", "up", "problem")) == {"no_complete_case_with_perforation"}
    assert set(found.charts["unit"]) == set(found.bands["unit"]) == {"A", "C"}


# ── learning and years ──────────────────────────────────────────────────────────────────────────────────────


def test_case_numbers_told_are_those_that_three_operators_reach():
    operator = np.repeat(np.arange(4), [1, 1, 1, 1])
    assert cases_told(np.array([100.0, 45, 40, 9]), operator) == [1, 5, 10, 20, 40]


@pytest.mark.parametrize(("n_operators", "method"), [(9, "patients"), (10, "operators")])
def test_learning_by_patients_or_operators(n_operators, method):
    cases = operators(260, n_operators=n_operators)
    rows = fit_audit_learning(cases, MIX).rows
    told = rows[rows["method"].eq("firth")]
    assert told["headline"].all()
    assert told["term"].tolist()[:3] == ["1", "5", "10"]
    assert (told["conf_low"] < told["estimate"]).all()
    assert (told["estimate"] < told["conf_high"]).all()
    assert f"clusters_are_{method}" in names_in(told["note"].iloc[0])
    assert told["df"].eq(n_operators - 2).all() if method == "operators" else told["df"].isna().all()


def test_an_operator_who_improves_has_a_falling_curve():
    cases = operators(400, n_operators=5)
    rng = np.random.default_rng(1)
    risk = expit(logit(0.45) - 0.7 * np.log(cases["operator_case_no"].to_numpy(float)))
    cases["perforation"] = pd.Categorical(np.where(rng.random(len(cases)) < risk, "yes", "no"), ["no", "yes"])
    rows = fit_audit_learning(cases, MIX).rows
    told = rows[rows["method"].eq("firth")].set_index("term")["estimate"]
    assert told["1"] > 2 * told["40"]


def test_learning_needs_twenty_tears_and_case_numbers():
    few = fit_audit_learning(counted({"A": (9, 60), "B": (10, 60)}), MIX).rows
    assert names_in(few["problem"].iloc[0]) == {"below_gate_audit"}
    none = operators().drop(columns="operator_case_no")
    assert names_in(fit_audit_learning(none, MIX).rows["problem"].iloc[0]) == {"no_case_number"}


def test_a_years_difference_by_hand():
    """2021: 6 of 20, before: 4 of 40, a site each patient: variance m / (m - 1) (Σ e² / n² of both sides), m = 4."""
    cases = counted({"A": (10, 60)})
    now = np.isin(np.arange(60), [*range(6), *range(20, 34)])
    cases["surgery_year"] = pd.array(np.where(now, 2021, 2020), "Int64")
    rows = fit_audit_year(cases).rows
    row = of(rows, "difference", "surgery_year=2021")
    assert row["estimate"] == pytest.approx(6 / 20 - 4 / 40)
    variance = 4 / 3 * (6 / 20 * 14 / 20 / 20 + 4 / 40 * 36 / 40 / 40)
    assert row["std_error"] == pytest.approx(np.sqrt(variance))
    assert row["df"] == 59
    assert row["p_value"] == pytest.approx(2 * stats.t.sf(0.2 / np.sqrt(variance), 59))
    # 2.0010: t of 59 degrees of freedom, NIST/SEMATECH e-Handbook, table 1.3.6.7.2
    limits = 0.2 + 2.0010 * np.sqrt(variance) * np.array([-1, 1])
    assert [row["conf_low"], row["conf_high"]] == pytest.approx(limits, rel=1e-4)
    assert names_in(of(rows, "difference", "surgery_year=2020")["problem"]) == {"first_year_seen"}
    assert of(rows, "rate", "surgery_year=2021")["estimate"] == 0.3


def test_a_patient_treated_in_both_years_weighs_in_their_difference_once():
    """Pairs, a site before and one now: the error of the mean paired difference, times √(m / (m - 1)), m = 6."""
    now, before = np.arange(30) % 3 == 0, np.arange(30) % 5 == 0  # ten and six patients with a tear, two are both
    cases = counted({"A": (0, 60)}).assign(patient_id=[f"P{k % 30}" for k in range(60)])
    cases["perforation"] = pd.Categorical(np.where(np.r_[before, now], "yes", "no"), ["no", "yes", "unknown"])
    cases["surgery_year"] = pd.array(np.repeat([2020, 2021], 30), "Int64")
    row = of(fit_audit_year(cases).rows, "difference", "surgery_year=2021")
    d = now.astype(int) - before
    assert row["estimate"] == pytest.approx(d.mean())
    assert row["std_error"] == pytest.approx(np.sqrt(6 / 5 * ((d - d.mean()) ** 2).sum()) / 30)
    assert row[["n_sites", "n_patients", "df"]].tolist() == [60, 30, 29]


def test_the_trend_is_the_wider_firth_model_of_the_year():
    cases = operators()
    row = of(fit_audit_year(cases).rows, "surgery_year")
    same = fit_perforation_firth(
        cases.assign(surgery_year=cases["surgery_year"].astype(float) - 2019), ["surgery_year"]
    )
    wider = same.rows[same.rows["term"].eq("surgery_year") & same.rows["method"].eq("profile_or_jackknife")].iloc[0]
    for column in ("estimate", "std_error", "conf_low", "conf_high", "p_value"):
        assert row[column] == pytest.approx(wider[column], rel=1e-6)


def test_two_patients_with_a_tear_on_each_side():
    cases = counted({"A": (12, 60)})
    now = np.isin(np.arange(60), [0, *range(20, 30)])
    cases["surgery_year"] = pd.array(np.where(now, 2021, 2020), "Int64")
    row = of(fit_audit_year(cases).rows, "difference", "surgery_year=2021")
    assert names_in(row["problem"]) == {"event_patients_few"}


def test_below_ten_tears_no_year_is_told():
    rows = fit_audit_year(counted({"A": (9, 60)})).rows
    assert set().union(*rows["problem"].map(names_in)) == {"below_gate_audit"}
    assert rows["n_events"].sum() > 0
