"""Indicators as data, cases to review, published counts."""

from __future__ import annotations

import copy

import numpy as np
import pandas as pd
import pytest
from audit_series import ASKED, PLAN, counted, visits_of

from liftseries.base.errors import StudyError
from liftseries.models.audit.benchmark import fit_audit_benchmark
from liftseries.models.audit.indicators import fit_audit_indicators
from liftseries.models.audit.oddities import count_odd_sites
from liftseries.models.audit.review import COLUMNS, list_cases_to_review
from liftseries.models.shared.follow_up import follow_up
from liftseries.study.indicators import indicators_of, review_reasons, written_indicators
from liftseries.study.published import published_counts


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


OF_REVIEW = ("by", "period", "unrecorded", "data_until", "depth_tolerance_mm", "step_mm")
NO_VISITS = visits_of()


# ── definitions as data ─────────────────────────────────────────────────────────────────────────────────────


def changed(name, **entry):
    written = copy.deepcopy(written_indicators())
    written["indicators"].setdefault(name, {}).update(entry)
    return written


def test_a_committee_adds_an_indicator_and_a_standard_without_code():
    new = {"title": "Septum", "means": "Sites with a septum.", "counts": "sites", "good": "low"}
    found = indicators_of(changed("septa", numerator="septum == 'yes' and rbh_mid_mm < 5", **new))
    assert found[-1].name == "septa"
    held = {"kind": "committee", "value": 0.08, "source": "minutes", "date": "2026-03"}
    assert indicators_of(changed("perforation", standard=held))[0].standard.value == 0.08


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (
            {"numerator": "perforatoin == 'yes'"},
            '"perforatoin" is no column that can stand here. Did you mean "perforation"?',
        ),
        ({"denominator": "rbh_mid > 3"}, 'Did you mean "rbh_mid_mm"?'),
        ({"numerator": "__import__('os')"}, "is no comparison of columns"),
        ({"numerator": "perforation =="}, "is no comparison of columns"),
        ({"good": "hihg"}, 'Did you mean "high"?'),
        ({"counts": "site"}, 'Did you mean "sites"?'),
        ({"standart": {}}, 'Did you mean "standard"?'),
        ({"standard": {"kind": "comittee", "value": 1}}, 'Did you mean "committee"?'),
        ({"standard": {"kind": "committee", "value": 0.1, "date": "2026"}}, "needs its source"),
        ({"standard": {"kind": "published"}}, "needs a value"),
        ({"standard": {"kind": "none", "value": 0.1}}, "has a value and no kind"),
        ({"months": "twelve"}, "neither a number of months"),
        ({"title": ""}, 'the key "title" is missing'),
    ],
)
def test_a_wrong_definition_is_refused_with_its_place_and_the_nearest_name(entry, says):
    with pytest.raises(StudyError) as caught:
        indicators_of(changed("perforation", **entry))
    lines = str(caught.value).splitlines()
    assert any("schemas/indicators.yaml, perforation" in line and says in line for line in lines)


def test_a_studys_own_column_may_be_read():
    written = changed("perforation", numerator="flapless == 'yes'")
    with pytest.raises(StudyError):
        indicators_of(written)
    assert indicators_of(written, {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}})


# ── cases to review ─────────────────────────────────────────────────────────────────────────────────────────


def review(cases, visits):
    settings = {name: ASKED[name] for name in OF_REVIEW}
    return list_cases_to_review(cases, follow_up(visits, cases).implants, visits, **settings)


def test_the_most_serious_case_stands_first():
    cases = counted({"A": (4, 12)}).assign(
        perforation_mm=[6.0, 2.0, np.nan, 2.0] + [np.nan] * 8, overdrill_mm=[0, 0.1, 0.2, 0.3] + [0.0] * 8
    )
    visits = visits_of(
        ("S0005", 8, "failed", "none", 9),
        ("S0006", 5, "functioning", "displacement", 9),
        ("S0007", 14, "failed", "none", 9),
        ("S0003", 5, "functioning", "infection", 9),
    )
    found = review(cases, visits)
    assert found.listed["site_id"].tolist() == ["S0006", "S0005", "S0003", "S0000", "S0002", "S0001", "S0007"]
    assert found.listed["place"].tolist() == list(range(1, 8))
    assert found.listed["most_serious"].tolist()[:3] == ["displaced", "failed_in_a_year", "infected"]
    assert found.listed.loc[2, "reasons"] == "infected tear"
    assert list(found.listed.columns) == COLUMNS.split()
    assert (found.listed[["reviewer", "conclusion"]] == "").all(axis=None)
    assert found.rule["name"].tolist() == [reason.name for reason in review_reasons()]
    assert found.rule.set_index("name").loc["tear", "n_sites"] == 4
    assert list(found.rule) == ["rank", "name", "title", "expression", "n_sites"]
    assert found.rule["rank"].tolist() == list(range(1, len(found.rule) + 1))
    assert found.rule.set_index("name").loc["tear", "expression"] == "perforation == 'yes'"


def test_nothing_to_review():
    found = review(counted({"A": (0, 12)}), NO_VISITS)
    assert found.listed.empty
    assert list(found.listed.columns) == COLUMNS.split()


# ── published counts ────────────────────────────────────────────────────────────────────────────────────────


def test_the_series_among_published_ones():
    cases = counted({"A": (6, 60), "B": (4, 40)})
    plan = {"by": "operator", "period": [], "expected": PLAN["expected"]}
    rows = fit_audit_benchmark(cases, **plan).rows.set_index("term")
    assert rows.loc["pooled", "estimate"] == pytest.approx(-3.732284, rel=1e-5)
    assert rows.loc["pooled", "n_sites"] == published_counts()["denominator"].sum()
    assert rows.loc["prediction_high", "estimate"] == pytest.approx(0.1028, abs=5e-5)
    assert 0.9 < rows.loc["percentile", "estimate"] < 0.975  # 10 % lies just inside the prediction
    few = fit_audit_benchmark(cases, **plan, published=published_counts().iloc[:4]).rows
    assert few["estimate"].isna().all()
    assert set(published_counts()["denominator_unit"]) == {"sinuses"}


def test_odd_sites_are_counted_once_in_the_period_where_nobody_accepted_them():
    cases = counted({"A": (1, 4), "B": (0, 3), "C": (0, 1)}, operator=[*"AAAABBBC"]).assign(
        surgery_year=[2023, 2023, 2023, 2022, *[2023] * 3, 2022]
    )
    site = cases["site_id"].to_list()
    rows = [
        ("r", site[0], False),
        ("q", site[0], False),
        ("r", site[1], True),
        ("r", site[3], False),
        ("r", site[4], False),
    ]
    odd = pd.DataFrame(rows, columns=["rule", "site_id", "accepted"])
    told = count_odd_sites(cases, odd, "operator", [2023]).counted
    assert list(told) == ["unit", "n_sites", "n_odd"]
    assert told.to_numpy().tolist() == [["A", 3, 1], ["B", 3, 1], ["C", 0, 0]]
    none = count_odd_sites(cases, odd.iloc[:0], "operator", []).counted
    assert none.to_numpy().tolist() == [["A", 4, 0], ["B", 3, 0], ["C", 1, 0]]
