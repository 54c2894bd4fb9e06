"""Funnels: limits, flags and their chance against scipy, the case mix against a second implementation, gates."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import LIMITS, MIX, PLAN, counted, operators
from scipy import stats
from scipy.optimize import brentq
from scipy.special import expit

from liftseries.base.remarks import names_in, remark
from liftseries.models.audit.funnel import SCALES, fit_audit_funnel
from liftseries.models.audit.limits import needed_of
from liftseries.models.audit.units import audited, stream, tail_area

ALERT, ALARM = (1 - stats.norm.cdf(sd) for sd in (2, 3))


def funnel(cases, **asked):
    return fit_audit_funnel(cases, **{"period": [], "case_mix": MIX, **PLAN, **LIMITS, **asked})


def of_unit(estimates, unit, method="clustered", analysis="audit.funnel"):
    rows = estimates.rows[estimates.rows["analysis"].eq(analysis)]
    subset = "all" if unit == "all" else f"operator={unit}"
    return rows[rows["subset"].eq(subset) & rows["method"].eq(method)].set_index("term")


def test_one_site_a_patient_is_the_binomial_by_scipy():
    """A has 9 of 40, p0 = 21 / 200."""
    cases = counted({"A": (9, 40), "B": (4, 80), "C": (8, 80)})
    told, p0 = of_unit(funnel(cases), "A"), 21 / 200
    assert told.loc["expected", "estimate"] == pytest.approx(p0)
    assert told.loc["p_high", "estimate"] == pytest.approx(stats.binom.sf(8, 40, p0), rel=1e-10)
    assert told.loc["p_low", "estimate"] == pytest.approx(stats.binom.cdf(9, 40, p0), rel=1e-10)
    assert told.loc["flag", "p_value"] == pytest.approx(2 * stats.binom.sf(8, 40, p0), rel=1e-10)
    high = [x for x in range(41) if stats.binom.sf(x - 1, 40, p0) <= ALERT]
    low = [x for x in range(41) if stats.binom.cdf(x, 40, p0) <= ALERT]
    assert told.loc["upper_alert", "estimate"] == min(high) / 40
    assert (
        told.loc["lower_alert", "estimate"] == max(low) / 40 if low else np.isnan(told.loc["lower_alert", "estimate"])
    )
    beyond = stats.binom.sf(min(high) - 1, 40, p0) + (stats.binom.cdf(max(low), 40, p0) if low else 0)
    assert told.loc["false_flag", "estimate"] == pytest.approx(beyond, rel=1e-10)
    assert told.loc["rate", "estimate"] == 9 / 40


def test_flags_have_a_sign_and_a_size():
    cases = counted({"much": (30, 60), "more": (13, 60), "as all": (7, 60), "none": (0, 90), "few": (2, 9)})
    found = funnel(cases)
    flags = {unit: of_unit(found, unit).loc["flag", "estimate"] for unit in ("much", "as all", "none", "few")}
    p0 = 52 / 279
    assert flags == {"much": 2, "as all": 0, "none": -2, "few": 0}
    assert stats.binom.cdf(0, 90, p0) <= ALARM
    everyone = of_unit(found, "all")
    assert everyone.loc["flags", "estimate"] == sum(
        abs(of_unit(found, unit).loc["flag", "estimate"]) >= 1 for unit in ("much", "more", "as all", "none", "few")
    )
    assert everyone.loc["alarm_flags", "estimate"] == 2
    false = [of_unit(found, unit).loc["false_flag", "estimate"] for unit in ("much", "more", "as all", "none", "few")]
    assert everyone.loc["expected_flags", "estimate"] == pytest.approx(sum(false))
    assert everyone.loc["any_flag", "estimate"] == pytest.approx(1 - np.prod(1 - np.array(false)))


def test_clustered_is_the_sum_of_beta_binomial_patients():
    """A second implementation: scipy's beta-binomials, summed by a table of all counts."""
    cases = operators()
    audit, found = audited(cases, "operator"), funnel(cases)
    rho, p0 = audit.correlation, audit.rate
    assert rho > 0
    for unit in audit.names:
        mine = cases[cases["operator"].eq(unit)]
        chance = {0: 1.0}
        for m in mine.groupby("patient_id").size():
            of_one = stats.betabinom(m, p0 * (1 - rho) / rho, (1 - p0) * (1 - rho) / rho).pmf(range(m + 1))
            new = {}
            for x, part in chance.items():
                for k, more in enumerate(of_one):
                    new[x + k] = new.get(x + k, 0) + part * more
            chance = new
        x = int(mine["perforation"].eq("yes").sum())
        told = of_unit(found, unit)
        assert told.loc["p_high", "estimate"] == pytest.approx(sum(c for k, c in chance.items() if k >= x), rel=1e-8)
        assert told.loc["p_low", "estimate"] == pytest.approx(sum(c for k, c in chance.items() if k <= x), rel=1e-8)
        binomial = of_unit(found, unit, "binomial")
        assert binomial.loc["p_high", "estimate"] == pytest.approx(stats.binom.sf(x - 1, len(mine), p0), rel=1e-9)
        limit = [binomial.loc[f"{side}_alert", "estimate"] * len(mine) for side in ("lower", "upper")]
        beyond = sum(c for k, c in chance.items() if k >= limit[1] - 1e-9 or k <= limit[0] + 1e-9)
        assert binomial.loc["false_flag", "estimate"] == pytest.approx(beyond, rel=1e-8)


def test_case_mix_is_firths_regression_of_the_others_moved_to_p0():
    """A second implementation: firthmodels' regression and a root search for c."""
    firthmodels = pytest.importorskip("firthmodels")
    cases = operators()
    p0, found = cases["perforation"].eq("yes").mean(), funnel(cases)
    for unit in ("OP1", "OP4"):
        others = cases[cases["operator"].ne(unit)]
        fit = firthmodels.FirthLogisticRegression(gtol=1e-12, xtol=1e-12, max_iter=200)
        fit.fit(others[MIX].to_numpy(float), others["perforation"].eq("yes").to_numpy(int))
        log_odds = np.ravel(fit.intercept_)[0] + cases[MIX].to_numpy(float) @ np.ravel(fit.coef_)
        shift = brentq(lambda c, at=log_odds: expit(at + c).mean() - p0, -5, 5, xtol=1e-14)
        q = expit(log_odds + shift)
        expected = q[cases["operator"].eq(unit)].mean()
        assert of_unit(found, unit, "case_mix").loc["expected", "estimate"] == pytest.approx(expected, rel=1e-6)


def test_sites_without_their_case_mix_stay_out_of_that_view_alone():
    cases = operators()
    cases.loc[cases["operator"].eq("OP2"), "rbh_mid_mm"] = np.nan
    found = funnel(cases)
    assert of_unit(found, "OP2", "case_mix")["problem"].ne("").all()
    assert of_unit(found, "OP2").loc["flag", "estimate"] in (-2, -1, 0, 1, 2)
    assert of_unit(found, "OP1", "case_mix").loc["rate", "n_sites"] == of_unit(found, "OP1").loc["rate", "n_sites"]


def test_states_of_a_unit():
    cases = counted({"tiny": (2, 9), "small": (3, 10), "large": (60, 900)})
    found = funnel(cases)
    tiny, small, large = (of_unit(found, unit) for unit in ("tiny", "small", "large"))
    assert np.isnan(tiny.loc["rate", "estimate"])
    assert names_in(tiny.loc["rate", "problem"]) == {"unit_without_rate"}
    assert tiny.loc["p_high", "estimate"] > 0
    assert names_in(small.loc["flag", "note"]) == {"unit_not_cleared"}
    assert names_in(large.loc["flag", "note"]) == {"unit_judged"}
    needed = small.loc["needed_sites", "estimate"]
    assert 10 < needed < 900
    assert small.loc["years", "estimate"] == pytest.approx((needed - 10) / 5)  # ten sites in two years
    assert large.loc["years", "estimate"] == 0
    assert small.loc[["needed_sites", "years"], "headline"].all()
    assert names_in(small.loc["rate", "note"]) == {"unit_not_cleared"}
    assert names_in(large.loc["rate", "note"]) == {"unit_judged"}


@pytest.mark.parametrize(("n_events", "told"), [(4, 0), (5, 1), (9, 1), (10, 3)])
def test_gates_by_the_series_events(n_events, told):
    """Under 5 counts only, 5 to 9 the clustered view alone."""
    cases = counted({"A": (n_events - 2, 60), "B": (2, 60)})
    rows = funnel(cases).rows
    flags = rows[rows["term"].eq("flag") & rows["analysis"].eq("audit.funnel")]
    assert flags.groupby("method")["estimate"].apply(lambda one: one.notna().all()).sum() == told
    assert flags["n_events"].sum() == 3 * n_events
    whole = funnel(cases, standard=0.1).rows
    whole = whole[whole["analysis"].eq("audit.series") & whole["term"].eq("flag")]
    assert whole["estimate"].notna().sum() == min(told, 2)  # it has no case mix
    assert (flags["estimate"].notna() | flags["problem"].ne("")).all()


def test_the_standard_is_what_units_are_compared_with_where_the_plan_says_so():
    cases = counted({"A": (9, 40), "B": (4, 80), "C": (8, 80)})
    found = funnel(cases, centre="standard", standard=0.05)
    assert of_unit(found, "A").loc["expected", "estimate"] == pytest.approx(0.05)
    whole = of_unit(found, "all", analysis="audit.series")
    assert whole.loc["p_high", "estimate"] == pytest.approx(stats.binom.sf(20, 200, 0.05), rel=1e-9)
    without = funnel(cases, centre="standard").rows
    assert without["estimate"].isna().all()
    assert set().union(*without["problem"].map(names_in)) == {"no_standard"}


def test_period_and_units_that_sent_nothing():
    cases = counted({"A": (9, 40), "B": (4, 80), "C": (8, 80)})
    found = funnel(cases, period=[2021], expected={"D": {2021: 5}})
    year = cases["surgery_year"].eq(2021)
    assert of_unit(found, "A").loc["flag", "n_sites"] == (year & cases["operator"].eq("A")).sum()
    silent = of_unit(found, "D")
    assert silent["n_sites"].eq(0).all()
    assert set(silent.index) == {*SCALES, "needed_sites", "years"}
    assert set(of_unit(found, "D", "binomial").index) == {*SCALES}
    assert set().union(*silent["problem"].map(names_in)) == {"no_site_in_period"}
    assert found.left_out.set_index("reason").loc["operated on outside the period", "n_sites"] == (~year).sum()


def test_row_order_changes_nothing():
    cases = operators()
    shuffled = cases.sample(frac=1, random_state=4).reset_index(drop=True)
    keys = ["analysis", "subset", "term", "method"]
    one, other = (funnel(table).rows.sort_values(keys).reset_index(drop=True) for table in (cases, shuffled))
    pd.testing.assert_frame_equal(one, other, rtol=1e-9)


def test_terms_are_those_of_the_contract():
    rows = funnel(operators()).rows
    assert not rows.duplicated(["analysis", "subset", "term", "method"]).any()
    unit = rows[rows["subset"].eq("operator=OP1") & rows["method"].eq("clustered")]
    assert set(unit["term"]) == {*SCALES, "needed_sites", "years"}
    assert rows[rows["headline"]].groupby(["analysis", "subset", "term"]).size().eq(1).all()


def test_tail_areas_and_streams():
    assert tail_area(2) == pytest.approx(ALERT)
    one, again, other = stream(1, "audit.cusum", "A"), stream(1, "audit.cusum", "A"), stream(1, "audit.cusum", "B")
    first = one.random()
    assert first == again.random()
    assert first != other.random()


def test_the_whole_series_is_judged_from_the_sites_on_that_its_standard_needs():
    needed = needed_of(0.1, 0.0, 1, tail_area(2))
    for n, state in ((needed - 1, "unit_not_cleared"), (needed, "unit_judged")):
        rows = of_unit(funnel(counted({"A": (12, n)}), standard=0.1), "all", analysis="audit.series")
        assert names_in(rows.loc["flag", "note"]) == names_in(rows.loc["rate", "note"]) == {state}
        assert rows.loc["expected", "estimate"] == pytest.approx(0.1)


def test_a_case_mix_that_the_other_units_cannot_carry_says_how_few_they_are():
    """B has three sites for the intercept and two terms."""
    cases = counted({"A": (10, 60), "B": (1, 4)})
    cases.loc[cases["operator"].eq("B"), "floor_slope_deg"] = [0.0, 4.0, 1.0, 9.0]
    few, enough = (of_unit(funnel(cases.iloc[:n]), "A", "case_mix") for n in (63, 64))
    assert set(few["problem"]) == {remark("too_few_sites", n_sites=3, n_coefficients=3)}
    assert enough["estimate"].notna().any()


def test_the_binomial_view_has_wilsons_interval_and_no_design_effect():
    found = funnel(counted({"A": (9, 40), "B": (4, 80), "C": (8, 80)}))
    rate = of_unit(found, "A", "binomial").loc["rate"]
    interval = stats.binomtest(9, 40).proportion_ci(method="wilson")
    assert rate[["conf_low", "conf_high"]].tolist() == pytest.approx([interval.low, interval.high])
    assert rate["conf_level"] == 0.95
    assert "binomial" not in set(found.design_effects["method"])


def test_flags_of_a_view_in_which_no_unit_is_judged_are_not_told():
    """One unit has no others to tell what its case mix is worth; none of none would read as a clean bill."""
    everyone = of_unit(funnel(counted({"A": (20, 60)})), "all", "case_mix")
    assert everyone["estimate"].isna().all()
    assert everyone["problem"].map(names_in).eq({"no_unit_judged"}).all()
