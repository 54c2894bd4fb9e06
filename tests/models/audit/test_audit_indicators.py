"""Indicators by hand: who counts, what is told, how it lies to a standard."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import ASKED, counted, operators, visits_of
from invented import category, invented_visits

from liftseries.base.remarks import names_in
from liftseries.models.audit.indicator_rows import Told
from liftseries.models.audit.indicators import STRIPS, fit_audit_indicators
from liftseries.models.audit.limits import needed_of
from liftseries.models.audit.verdicts import enough, verdict
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.km import fit_survival_km
from liftseries.study.indicators import Indicator, Standard, indicators


def asked(cases, visits, **changes):
    return fit_audit_indicators(cases, follow_up(visits, cases).implants, visits, **{**ASKED, **changes})


def told(estimates, term, unit="all"):
    subset = "all" if unit == "all" else f"operator={unit}"
    rows = estimates.rows[estimates.rows["term"].eq(term) & estimates.rows["subset"].eq(subset)]
    assert len(rows) == 1
    return rows.iloc[0]


def strip(estimates, term, unit="all"):
    strips = estimates.strips
    row = strips[strips["indicator"].eq(term) & strips["unit"].eq(unit)].iloc[0]
    return tuple(int(row[state]) for state in ("counted", "unknown", "not_applicable", "not_due"))


NO_VISITS = visits_of()


def test_every_shipped_indicator_has_a_row_of_all_and_of_each_unit():
    cases = operators()
    estimates = asked(cases, invented_visits(cases, 3))
    assert len(indicators()) == 12
    months = {one.name: len(one.at([12, 36])) for one in indicators()}
    assert len(estimates.rows) == sum(months.values()) * 6 == len(estimates.strips)
    assert list(estimates.strips.columns) == STRIPS.split()
    assert (estimates.rows["estimate"].notna() | estimates.rows["problem"].ne("")).all()
    assert not estimates.rows.duplicated(["subset", "term", "method"]).any()


def test_unknown_tears_are_out_and_counted():
    cases = counted({"A": (6, 30), "B": (5, 20)})
    cases["perforation"] = category("perforation", ["unknown", *cases["perforation"][1:]])
    estimates = asked(cases, NO_VISITS)
    assert told(estimates, "perforation", "A")["estimate"] == 5 / 29
    assert strip(estimates, "perforation", "A") == (29, 1, 0, 0)
    assert strip(estimates, "perforation") == (49, 1, 0, 0)


def test_membrane_checked_and_depth():
    cases = counted({"A": (6, 30)})
    tests = ["none", "valsalva", None] * 10
    error = np.array([1.04, 1.06, np.nan, -2, 0.3] * 6)
    cases = cases.assign(perforation_test=pd.Categorical(tests, ["none", "valsalva"]), last_error_mm=error)
    estimates = asked(cases, NO_VISITS)
    assert told(estimates, "membrane_checked")["estimate"] == 0.5
    assert strip(estimates, "membrane_checked") == (20, 10, 0, 0)
    assert told(estimates, "not_much_deeper")["estimate"] == 18 / 24  # 1.04 is within 1 + 0.05, 1.06 is not
    assert strip(estimates, "not_much_deeper") == (24, 6, 0, 0)


@pytest.mark.parametrize(
    ("unrecorded", "share", "counts"), [("not_done", 6 / 30, (30, 10)), ("left_out", 0.5, (12, 28))]
)
def test_a_centre_that_tells_of_no_probing(unrecorded, share, counts):
    """Of 40 sites ten have no log, 18 one without a word on probing, 12 one that can be judged, six of them well."""
    probed = [False] * 6 + [True] * 6 + [None] * 28
    log = [False] * 30 + [None] * 10
    cases = counted({"A": (6, 40)}, not_probed=pd.array(probed, "boolean"), overdrilled=pd.array(log, "boolean"))
    estimates = asked(cases, NO_VISITS, unrecorded=unrecorded)
    assert told(estimates, "probed")["estimate"] == pytest.approx(share)
    assert strip(estimates, "probed")[:2] == counts


def test_harm_counts_patients_of_whom_a_year_was_due():
    """Closed June 2022: surgery in 2020 is due at 12 + 3 months from 31 March 2022; that of 2021 is not."""
    cases = counted({"A": (2, 8)}).assign(patient_id=list("aabbccdd"), surgery_year=pd.array([2020] * 6 + [2021] * 2))
    visits = visits_of(
        ("S0000", 6, "functioning", "none", 9),
        ("S0001", 11, "functioning", "sinusitis", 9),
        ("S0002", 12, "functioning", "none", 9),
        ("S0003", 13, "functioning", "infection", 9),  # after the twelfth month
        ("S0006", 3, "functioning", "displacement", 9),
    )
    estimates = asked(cases, visits, data_until="2022-06")
    row = told(estimates, "harm_in_a_year")
    assert (row["estimate"], row["n_patients"], row["n_events"]) == (0.5, 2, 1)
    assert strip(estimates, "harm_in_a_year") == (2, 1, 0, 1)  # c has no visit, d is not due


@pytest.mark.parametrize(("data_until", "due"), [("2022-02", 0), ("2022-03", 20)])
def test_due_is_31_december_plus_the_months_and_three(data_until, due):
    """31 December 2020 + 15 months is the end of March 2022."""
    cases = counted({"A": (5, 20)}).assign(surgery_year=2020)
    estimates = asked(cases, visits_of(("S0000", 9, "functioning", "", 9)), data_until=data_until)
    assert strip(estimates, "follow_up at 12") == (due, 0, 0, 20 - due)
    if due:
        assert told(estimates, "follow_up at 12")["n_events"] == 1


def test_follow_up_counts_failed_died_and_seen_of_implants_placed():
    cases = counted({"A": (5, 20)}).assign(
        surgery_year=2020, placement=category("placement", ["none"] + ["same_day"] * 19)
    )
    visits = visits_of(
        ("S0001", 4, "failed", "", 9),
        ("S0002", 8, "patient_died", "", 9),
        ("S0003", 9, "functioning", "", 9),
        ("S0004", 15, "functioning", "", 9),
        ("S0005", 15.5, "functioning", "", 9),
        ("S0006", 12, "not_examined", "", 9),
    )
    estimates = asked(cases, visits)
    row = told(estimates, "follow_up at 12")
    assert (row["n_events"], row["n_sites"]) == (4, 19)
    assert strip(estimates, "follow_up at 12") == (19, 0, 1, 0)


def test_gain_is_of_the_visit_nearest_to_twelve():
    cases = counted({"A": (5, 12)}).assign(rbh_mid_mm=4.0, surgery_year=2020)
    visits = visits_of(
        ("S0000", 9, "functioning", "", 7.0),
        ("S0000", 13, "functioning", "", 7.5),
        ("S0001", 11, "functioning", "", 8.0),
        ("S0002", 16, "functioning", "", 12.0),
    )
    estimates = asked(cases, visits)
    row = told(estimates, "gain_at_a_year")
    assert row["estimate"] == pytest.approx((3.5 + 4.0) / 2)
    assert row["scale"] == "mm"
    assert strip(estimates, "gain_at_a_year") == (2, 10, 0, 0)


def test_failure_in_a_year_and_survival_are_kaplan_meiers():
    cases = operators(300)
    visits = invented_visits(cases, 3)
    implants = follow_up(visits, cases).implants
    estimates = asked(cases, visits)
    rows = fit_survival_km(implants, [12, 36], ["operator"]).rows
    corrected = rows[rows["method"].eq("corrected")].set_index(["subset", "term"])
    for unit in ("all", "OP1"):
        subset = "all" if unit == "all" else f"operator={unit}"
        km = corrected.loc[(subset, "12")]
        row = told(estimates, "failure_in_a_year", unit)
        assert row["estimate"] == pytest.approx(1 - km["estimate"])
        assert (row["conf_low"], row["conf_high"]) == pytest.approx((1 - km["conf_high"], 1 - km["conf_low"]))
        assert "found_shortly_after" in names_in(row["note"])
        assert told(estimates, "survival at 12", unit)["estimate"] == pytest.approx(km["estimate"])
    few = cases[cases["site_id"].isin(implants["site_id"].iloc[:15])]
    row = told(asked(few, visits[visits["site_id"].isin(few["site_id"])]), "survival at 12")
    assert np.isnan(row["estimate"])
    assert names_in(row["problem"]) == {"below_gate_at_risk"}
    assert row[["std_error", "conf_low", "conf_high", "conf_level", "df"]].isna().all()


def test_an_indicator_of_the_committee_s_own_reads_what_is_worked_out_and_the_numbers_of_the_plan():
    """Six sites: of S0003 no visit tells of complications; at S0000 the sinus was inflamed."""
    cases = counted({"A": (5, 6)}).assign(last_error_mm=[0.2, 0.5, 0.6, 1.0, 1.4, np.nan])
    rows = [(f"S{k:04d}", 6, "functioning", "none" if k else "sinusitis", 9) for k in (0, 1, 2, 4, 5)]
    rows.append(("S0005", 12.5, "functioning", "sinusitis", 9))  # an indicator of no month looks as far as a year
    numerators = {
        "no_sinusitis": "sinusitis == 'no'",
        "within_a_step": "last_error_mm <= step_mm + depth_tolerance_mm",
    }
    alike = {"counts": "sites", "good": "high", "standard": {"kind": "none"}}
    own = {name: {"title": name, "means": name, "numerator": one, **alike} for name, one in numerators.items()}
    estimates = asked(cases, visits_of(*rows), own=own, step_mm=0.5, depth_tolerance_mm=0.1)
    assert told(estimates, "no_sinusitis")["n_events"] == 4
    assert strip(estimates, "no_sinusitis") == (5, 1, 0, 0)
    assert told(estimates, "within_a_step")["n_events"] == 3
    assert strip(estimates, "within_a_step") == (5, 1, 0, 0)


def test_cells_filled_by_hand():
    """20 sites: tears and lowest heights all known, 5 tests empty; no log anywhere, so none is asked for; no status."""
    cases = counted({"A": (5, 20)}).assign(
        perforation_test=pd.Categorical([None] * 5 + ["valsalva"] * 15), rbh_min_mm=3.0, rbh_max_mm=4.0
    )
    row = told(asked(cases, NO_VISITS), "columns_filled")
    assert row["estimate"] == pytest.approx(75 / 80)
    assert row["n_sites"] == 20


def test_cases_received_of_those_expected():
    cases = counted({"A": (5, 20), "B": (5, 30)})  # half of each in 2021
    expected = {"A": {2020: 20, "2021": 5}, "C": {2021: 4}}
    estimates = asked(cases, NO_VISITS, expected=expected, period=[2021])
    assert told(estimates, "cases_received", "A")["estimate"] == 10 / 5
    assert told(estimates, "cases_received", "A")["headline"]
    assert told(estimates, "cases_received", "A")[["n_sites", "n_patients"]].tolist() == [10, 10]
    assert told(estimates, "cases_received", "C")["estimate"] == 0
    assert [strip(estimates, "cases_received", unit) for unit in "AC"] == [(10, 0, 0, 0), (0, 0, 0, 0)]
    assert told(estimates, "cases_received")["estimate"] == 10 / 9
    assert np.isnan(told(estimates, "cases_received", "B")["estimate"])
    assert names_in(told(estimates, "cases_received", "B")["problem"]) == {"no_number_expected"}


def test_a_verdict_needs_the_whole_interval_beyond_the_standard():
    assert verdict("low", 0.05, 0.06, 0.1) == "worse"
    assert verdict("low", 0.05, 0.01, 0.04) == "better"
    assert verdict("high", 0.9, 0.8, 0.89) == "worse"
    assert verdict("high", 0.9, 0.91, 0.99) == "better"
    assert verdict("low", 0.05, 0.05, 0.1) == "compatible"


@pytest.mark.parametrize(("good", "standard"), [("low", 0.05), ("high", 0.95)])
def test_sites_enough_are_those_at_the_worse_outcome(good, standard):
    """Twice the odds of 5 in 100 take as many sites, whichever of the two outcomes is counted."""
    indicator, needed = Indicator("made", "", "", "implants", good), needed_of(0.05, 0.0, 1, 0.025)
    for n, is_enough in ((needed - 1, False), (needed, True)):
        seen = Told({}, n, round(n * standard), n - round(n * standard), {})
        assert enough(indicator, Standard("committee", standard), seen, 0.0, 0.025) == is_enough


def test_a_verdict_needs_sites_enough_at_the_standard():
    cases = counted({"large": (150, 900), "small": (20, 40)})
    estimates = asked(cases, NO_VISITS, standard=0.05)
    assert names_in(told(estimates, "perforation", "large")["note"]) == {"indicator_worse"}
    assert names_in(told(estimates, "perforation", "small")["note"]) == {"indicator_not_judged"}
    assert told(estimates, "perforation", "large")["headline"]
    assert not told(estimates, "perforation", "small")["headline"]
    without = asked(cases, NO_VISITS)
    assert told(without, "perforation", "small")["headline"]  # 40 patients, 20 events, 20 others
    assert set(without.strips["verdict"]) == {""}
    assert told(without, "perforation", "small")["note"] == ""
