"""Who stands behind an audit's rows: nothing by operator, nothing that single records or single units give away."""

from __future__ import annotations

import numpy as np
import pytest
from audit_series import operators
from invented import invented_visits

from liftseries.base.named import function_named
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
