"""What the comparison declares: tables with the columns they have, and who stands behind a row, or nobody."""

import pandas as pd
import pytest
from invented import invented_cases, invented_visits

from liftseries.base.named import function_named
from liftseries.engine.answer import answer
from liftseries.models.comparison.questions import QUESTIONS
from liftseries.models.questions import ANALYSES, questions_for
from liftseries.models.shared.behind import Row
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.population import Population
from liftseries.models.shared.results import RESULT_COLUMNS

PLAN = {
    "groups": "protocol",
    "reference": "A",
    "adjust_for": ["rbh_mid_mm", "smoking"],
    "weights": ["overlap", "inverse_probability"],
}
CASES = invented_cases(120, seed=41).assign(operator=lambda cases: [f"op{k % 5}" for k in range(len(cases))])
VISITS = invented_visits(CASES, 42)
TABLES = {"cases": CASES, "visits": VISITS, "implants": follow_up(VISITS, CASES).implants}


def left_by(question, **asked):
    months = {"months": [12, 36]} if "months" in question.asks else {}
    return answer(question, TABLES.__getitem__, PLAN | months | asked)


def population(**asked):
    plan = {"comparison": PLAN | asked, "survival_months": [12, 36]}
    return Population(plan=plan, cases=CASES, implants=TABLES["implants"], visits=VISITS)


def rows_of(table):
    for row in table.itertuples():
        yield row, function_named(ANALYSES[row.analysis].behind), Row(row.analysis, row.subset, row.term, row.method)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
@pytest.mark.parametrize("groups", ["protocol", "no such column"])
def test_tables_have_the_columns_that_are_declared(question, groups):
    left = left_by(question, groups=groups)
    assert tuple(left[question.name].columns) == RESULT_COLUMNS
    for table in question.leaves:
        assert list(left[table.name].columns) == table.columns.split(), table.name
        assert table.disclosure is None


def test_only_a_comparison_asks_them():
    names = {question.name for question in QUESTIONS}
    assert not names & {question.name for question in questions_for(["publication", "audit"])}
    assert names <= {question.name for question in questions_for(["publication", "comparison"])}


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_who_stands_behind_a_row_is_whom_it_counts(question):
    whole, told = population(), 0
    for row, behind, place in rows_of(left_by(question)[question.name]):
        found = behind(whole, place)
        if row.subset != "all":
            assert found is None
            continue
        told += 1
        assert int(found.counts["n_sites"].members.sum()) == row.n_sites, row
        assert whole.n_patients(found.counts["n_patients"].members) == row.n_patients, row
        if not pd.isna(row.n_events):
            assert int(found.counts["n_events"].members.sum()) == row.n_events, row
    assert told


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_nobody_stands_behind_what_is_told_by_operator(question):
    asked = {"groups": "operator", "reference": "op0"}
    left = left_by(question, **asked)
    whole = population(**asked)
    assert all(behind(whole, place) is None for _, behind, place in rows_of(left[question.name]))
