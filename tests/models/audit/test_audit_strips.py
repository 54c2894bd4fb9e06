"""What the matrix and its strips are drawn from, and what stands beside an indicator's number."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_series import ASKED, counted, operators, visits_of
from invented import category, invented_visits

from liftseries.base.remarks import names_in, remarks_in
from liftseries.models.audit.indicators import fit_audit_indicators
from liftseries.models.shared.follow_up import follow_up

NO_VISITS = visits_of()


def asked(cases, visits=NO_VISITS, **changes):
    return fit_audit_indicators(cases, follow_up(visits, cases).implants, visits, **{**ASKED, **changes})


def strips(estimates, term):
    found = estimates.strips[estimates.strips["indicator"].eq(term)]
    return found.set_index("unit")


def told(estimates, term, unit="all"):
    subset = "all" if unit == "all" else f"operator={unit}"
    return estimates.rows[estimates.rows["term"].eq(term) & estimates.rows["subset"].eq(subset)].iloc[0]


def test_a_strip_holds_the_row_and_the_standard_with_its_origin():
    cases = counted({"large": (150, 900), "small": (20, 40)})
    held = {"kind": "published", "value": 0.05, "source": "a review", "date": "2026-03"}
    estimates = asked(cases, own={"perforation": {"standard": held}}, standard=0.5)
    found = strips(estimates, "perforation")
    assert found.index.tolist() == ["all", "large", "small"]
    for unit, strip in found.iterrows():
        row = told(estimates, "perforation", unit)
        assert strip[["value", "conf_low", "conf_high", "n_events"]].tolist() == (
            row[["estimate", "conf_low", "conf_high", "n_events"]].tolist()
        )
        assert row["conf_level"] == 0.95
        of_standard = strip[["standard", "standard_kind", "standard_source", "standard_date"]].tolist()
        assert of_standard == [held[key] for key in ("value", "kind", "source", "date")]
        assert strip[["title", "counts", "good"]].tolist() == ["Membrane torn", "sites", "low"]
        assert np.isnan(strip["months"])
    assert found["verdict"].tolist() == ["worse", "worse", ""]
    assert found["enough"].tolist() == [True, True, False]


def test_the_standard_of_the_plan_is_that_of_tears_alone():
    estimates = asked(counted({"A": (150, 900), "B": (20, 40)}), standard=0.1)
    assert set(estimates.strips.loc[estimates.strips["standard"].notna(), "indicator"]) == {"perforation"}
    one = strips(estimates, "perforation").loc["A"]
    assert one[["standard", "standard_kind"]].tolist() == [0.1, "committee"]
    assert one["standard_source"] == "study.yaml, audit.standard"
    others = estimates.strips[estimates.strips["indicator"].ne("perforation")]
    assert others["standard_kind"].eq("none").all()


@pytest.mark.parametrize(("share", "verdict"), [(0.05, "better"), (0.17, "compatible"), (0.4, "worse")])
def test_what_a_row_says_of_its_standard(share, verdict):
    """150 of 900 are 17 %, one site a patient."""
    estimates = asked(counted({"A": (150, 900)}), standard=(150 / 900 / share) * 150 / 900)
    note = names_in(told(estimates, "perforation", "A")["note"])
    assert note == {f"indicator_{verdict}"}
    assert strips(estimates, "perforation").loc["A", "verdict"] == verdict


def test_indicators_asked_for_by_name_are_told_alone_at_each_month_to_the_standard_of_that_month():
    cases = operators()
    held = {"kind": "committee", "value": {12: 0.9}, "source": "minutes", "date": "2026-03"}
    changes = {"names": ["perforation", "follow_up"], "months": [12, 36], "own": {"follow_up": {"standard": held}}}
    found = asked(cases, invented_visits(cases, 3), **changes).strips.drop_duplicates("indicator")
    assert found["indicator"].tolist() == ["perforation", "follow_up at 12", "follow_up at 36"]
    assert found["months"].tolist()[1:] == [12, 36]
    assert found["standard_kind"].tolist() == ["none", "committee", "none"]
    assert found["standard"].tolist()[1] == 0.9


def test_sites_outside_the_period_are_left_out_and_counted():
    cases = counted({"A": (6, 30), "B": (5, 20)})
    estimates = asked(cases, period=[2021], names=["perforation"])
    assert estimates.left_out[["analysis", "subset", "reason", "n_sites"]].to_numpy().tolist() == [
        ["audit.indicator", "all", "operated on outside the period", 25]
    ]
    year = cases["surgery_year"].eq(2021)
    row = told(estimates, "perforation", "B")
    assert (row["n_sites"], row["n_events"]) == (10, 3)
    assert told(estimates, "perforation")["estimate"] == cases.loc[year, "perforation"].eq("yes").mean()


def test_a_share_by_patients_has_its_design_effect():
    cases = operators()
    estimates = asked(cases, names=["perforation"])
    effects = estimates.design_effects.set_index("subset")
    assert effects.index.tolist() == estimates.rows["subset"].tolist()
    for _, row in estimates.rows.iterrows():
        alone = row["estimate"] * (1 - row["estimate"]) / row["n_sites"]
        assert effects.loc[row["subset"], "estimate"] == pytest.approx(row["std_error"] ** 2 / alone)
        assert effects.loc[row["subset"], "term"] == "audit.indicator perforation"


def test_a_mean_gain_is_that_of_patients_and_has_its_design_effect():
    """Patients of two sites each, heights by hand: the mean's error is that of the patients' sums of deviations."""
    gains = np.array([2.0, 3.0, 4.0, 4.5, 1.0, 1.5, 3.5, 3.0])
    cases = counted({"A": (4, 8)}).assign(rbh_mid_mm=4.0, surgery_year=2020, patient_id=list("aabbccdd"))
    visits = visits_of(*((f"S{k:04d}", 12, "functioning", "", 4 + gain) for k, gain in enumerate(gains)))
    estimates = asked(cases, visits, names=["gain_at_a_year"])
    row = told(estimates, "gain_at_a_year")
    sums = (gains - gains.mean()).reshape(4, 2).sum(axis=1)
    error = np.sqrt(4 / 3 * (sums**2).sum()) / 8
    assert row["estimate"] == pytest.approx(gains.mean())
    assert row["std_error"] == pytest.approx(error)
    assert row[["n_sites", "n_patients", "df"]].tolist() == [8, 4, 3]
    effect = estimates.design_effects.set_index("subset").loc["all"]
    assert effect["estimate"] == pytest.approx(error**2 / (gains.var(ddof=1) / 8))


def test_cells_are_told_in_a_note_and_a_patients_share_of_sites_in_its_counts():
    cases = counted({"A": (5, 20)}).assign(
        perforation_test=pd.Categorical([None] * 5 + ["valsalva"] * 15), rbh_min_mm=3.0, rbh_max_mm=4.0
    )
    row = told(asked(cases, names=["columns_filled"]), "columns_filled")
    assert {one.name: one.holes for one in remarks_in(row["note"])}["cells_counted"] == {"n_cells": 80}
    assert row[["n_events", "n_patients"]].tolist() == [75, 20]


def test_no_row_counted_says_so():
    cases = counted({"A": (5, 20), "B": (3, 20)})
    cases.loc[cases["operator"].eq("B"), "perforation"] = category("perforation", ["unknown"])[0]
    row = told(asked(cases, names=["perforation"]), "perforation", "B")
    assert names_in(row["problem"]) == {"no_row_counted"}
    assert not row["headline"]
    strip = strips(asked(cases, names=["perforation"]), "perforation").loc["B"]
    assert strip[["counted", "unknown"]].tolist() == [0, 20]
    assert not strip["enough"]


@pytest.mark.parametrize(("n_patients", "enough"), [(9, False), (10, True)])
def test_a_mean_is_judged_from_ten_patients_on(n_patients, enough):
    """Gains of 3.5 to 4.5 mm, held to 3 mm; more is better."""
    cases = counted({"A": (4, n_patients)}).assign(rbh_mid_mm=4.0, surgery_year=2020)
    heights = 8 + np.linspace(-0.5, 0.5, n_patients)
    visits = visits_of(*((f"S{k:04d}", 12, "functioning", "", height) for k, height in enumerate(heights)))
    held = {"kind": "committee", "value": 3.0, "source": "minutes", "date": "2026-03"}
    found = strips(asked(cases, visits, own={"gain_at_a_year": {"standard": held}}), "gain_at_a_year").loc["A"]
    assert (found["enough"], found["verdict"]) == (enough, "better" if enough else "")


def test_cases_received_have_their_columns_also_where_none_was_expected():
    cases = counted({"A": (5, 20)})
    assert list(asked(cases).received) == ["unit", "year", "expected", "received"]
    assert asked(cases, expected={"A": {2021: 8}}).received.to_numpy().tolist() == [["A", 2021, 8, 10]]


@pytest.mark.parametrize(("n_torn", "standard"), [(4, 0.0), (36, 1.0)])
def test_a_standard_of_none_or_all_is_judged_by_nobody(n_torn, standard):
    """No risk has twice the odds of 0, so that no number of sites is enough."""
    good = "low" if standard == 0 else "high"
    held = {"kind": "committee", "value": standard, "source": "minutes", "date": "2026-03"}
    estimates = asked(counted({"A": (n_torn, 40)}), own={"perforation": {"good": good, "standard": held}})
    found = strips(estimates, "perforation").loc["A"]
    assert (found["enough"], found["verdict"]) == (False, "")
    assert names_in(told(estimates, "perforation", "A")["note"]) == {"indicator_not_judged"}


def test_each_indicator_has_the_scale_and_method_of_what_it_counts():
    cases = operators()
    expected = {"OP1": {2019: 9}}
    rows = asked(cases, invented_visits(cases, 3), expected=expected, months=[12]).rows
    scales = {one["term"]: (one["scale"], one["method"]) for _, one in rows[rows["subset"].eq("all")].iterrows()}
    share = ("risk", "patients")
    assert scales == {
        **dict.fromkeys(("perforation", "membrane_checked", "harm_in_a_year", "not_much_deeper"), share),
        **dict.fromkeys(("as_planned", "probed", "follow_up at 12", "columns_filled"), share),
        "failure_in_a_year": ("risk", "corrected"),
        "survival at 12": ("probability", "corrected"),
        "gain_at_a_year": ("mm", "patients"),
        "cases_received": ("ratio", "counted"),
    }
    assert rows.groupby("term")["scale"].nunique().eq(1).all()
