"""Who stands behind an audit's rows: nothing by operator, nothing that single records or single units give away."""

from __future__ import annotations

import numpy as np
import pytest
from audit_series import operators
from fourteen_sites import assert_said, estimate, model, patients, row
from fourteen_sites import population as fourteen
from invented import invented_visits

from liftseries.base.named import function_named
from liftseries.models.audit.behind import funnel, series, stays, trend
from liftseries.models.audit.questions import QUESTIONS
from liftseries.models.questions import ANALYSES
from liftseries.models.shared.behind import Row
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.population import Population

NAMES = [analysis.name for question in QUESTIONS for analysis in question.analyses]


def behind(row, by="operator", period=()):
    cases = operators()
    visits = invented_visits(cases, 3)
    plan = {"audit": {"by": by, "period": list(period)}}
    population = Population(plan, cases, follow_up(visits, cases).implants, visits)
    return population, function_named(ANALYSES[row.analysis].behind)(population, row)


@pytest.mark.parametrize("name", NAMES)
def test_nobody_stands_behind_a_row_by_operator(name):
    assert behind(Row(name, "operator=OP1", "rate", "clustered"))[1] is None


def test_a_centre_stands_behind_its_own_row_and_all_behind_what_it_is_compared_with():
    population, found = behind(Row("audit.funnel", "centre=east", "p_high", "clustered"), by="centre")
    mine = population.subset("centre=east")
    np.testing.assert_array_equal(found.counts["n_sites"].members, mine)
    np.testing.assert_array_equal(found.counts["n_events"].members, mine & population.perforated)
    given_away = [one.members.sum() for one in found.gives_away]
    assert {mine.sum(), population.n_sites, population.perforated.sum()} <= set(given_away)
    assert behind(Row("audit.funnel", "centre=east", "p_high", "case_mix"), by="centre")[1] is None
    assert behind(Row("audit.funnel", "all", "expected_flags", "clustered"), by="centre")[1] is None


def test_the_series_is_that_of_the_period():
    population, found = behind(Row("audit.series", "all", "p_high", "clustered"), period=[2019])
    year = population.cases["surgery_year"].eq(2019).to_numpy(bool)
    np.testing.assert_array_equal(found.counts["n_sites"].members, year)
    assert behind(Row("audit.year", "all", "surgery_year", "profile_or_jackknife"))[1] is not None
    assert behind(Row("audit.year", "surgery_year=2019", "rate", "patients"))[1] is None


def test_no_table_of_an_audit_leaves():
    assert not [table.name for question in QUESTIONS for table in question.leaves if table.disclosure]


# ── fourteen sites, by hand: perforation and centre are known of a to i, k and l; a c e f and i tore ────────


def test_a_unit_gives_its_counts_away_and_those_of_all_in_the_period():
    """Of 2019 e f i k and l; of these i and k are of the east."""
    of_all = ["efikl", "efi", patients("efikl")]
    of_year = estimate("efikl", "efi", gives_away=of_all)
    east = estimate("ik", "i", gives_away=["ik", "i", patients("ik"), *of_all])
    assert_said(
        series,
        [
            (row("audit.series", "p_high", "clustered"), of_year),
            (row("audit.series", "p_high", "clustered", "centre=east"), None),
        ],
    )
    rows = [
        (row("audit.funnel", "rate", "clustered", "centre=east"), east),
        (row("audit.funnel", "rate", "binomial", "centre=east"), east),
        (row("audit.funnel", "rate", "case_mix", "centre=east"), None),
        (row("audit.funnel", "rate", "clustered", "protocol=A"), None),
        (row("audit.funnel", "expected_flags", "clustered"), None),
    ]
    assert_said(funnel, rows)
    assert stays(fourteen(), rows[0][0]) is None


def test_without_a_period_all_with_a_unit_are_audited():
    used, torn = "abcdefghikl", "acefi"
    of = fourteen({"audit": {"by": "centre"}})
    asked = row("audit.series", "p_high", "clustered")
    assert_said(series, [(asked, estimate(used, torn, gives_away=[used, torn, patients(used)]))], of)


@pytest.mark.parametrize("audit", [None, {"by": "no such column"}])
def test_without_an_audit_or_its_column_nobody_stands_behind_it(audit):
    of, asked = fourteen({"audit": audit}), row("audit.funnel", "rate", "clustered", "no such column=east")
    assert_said(series, [(row("audit.series", "p_high", "clustered"), None)], of)
    assert_said(funnel, [(asked, None)], of if audit else fourteen())


def test_a_trend_rests_on_the_sites_of_known_perforation_and_year():
    """The year of m is missing; of j and n the perforation is not known."""
    asked = row("audit.year", "surgery_year", "profile_or_jackknife")
    by_year = row("audit.year", "rate", "patients", "surgery_year=2019")
    assert_said(trend, [(asked, model("abcdefghikl", "acefi", 12)), (by_year, None)])
    without = fourteen()
    without.cases.drop(columns="surgery_year", inplace=True)
    assert_said(trend, [(asked, None)], without)
