"""The jobs that are made of the declared questions."""

from __future__ import annotations

import dataclasses
import inspect
import re

import pytest
from snakemake.persistence import PersistenceBase
from studies import write_study

from liftseries.base.named import function_named
from liftseries.engine.questions import (
    asked,
    asked_of_draws,
    chunk_of,
    draw_files,
    pooling_jobs,
    quick_jobs,
    resampling,
    tables_left,
)
from liftseries.models.questions import QUESTIONS, questions_for
from liftseries.study.plan import read_plan


@pytest.fixture
def plan(tmp_path):
    return read_plan(write_study(tmp_path))


@pytest.mark.parametrize("question", resampling(), ids=lambda question: question.name)
@pytest.mark.parametrize(("n", "n_drawn"), [(1, 1), (9, 9), (10, 10), (11, 7), (500, 500), (1234, 1234), (1234, 101)])
def test_jobs_cover_each_replicate_once(plan, question, n, n_drawn):
    asks = dataclasses.replace(plan, resamples=n, imputation={**plan.imputation, "sets": n})
    firsts = [int(re.search(r"_(\d+)\.csv", path)[1]) for path in draw_files(question, asks)]
    chunks = [chunk_of(question.draws, first, n, n_drawn) for first in firsts]
    drawn = [begins + k for begins, here in chunks for k in range(here)]
    assert drawn == list(range(n_drawn))


def test_every_question_is_answered_by_one_job(plan):
    jobs = [*quick_jobs(plan), *pooling_jobs(plan)]
    asked = [question.name for question in questions_for(plan.purpose)]
    assert sorted(name for job in jobs for name in job.questions) == sorted(asked)


def test_no_two_jobs_leave_the_same_file(plan):
    files = [path for job in (*quick_jobs(plan), *pooling_jobs(plan)) for path in job.outputs.values()]
    assert len(files) == len(set(files))


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_a_declaration_fits_its_functions(plan, question):
    """Every argument is declared, and nothing else is."""
    given = {*question.reads, *asked(question.asks, plan)} | ({"by"} if question.by else set())
    parameters = inspect.signature(function_named(question.function)).parameters
    needed = {name for name, one in parameters.items() if one.default is one.empty}
    answer = given | ({"draws"} if question.draws else set())
    assert needed <= answer <= {*parameters}
    if question.draws:
        drawn = {*inspect.signature(function_named(question.draws.function)).parameters}
        assert drawn == {*question.reads, *asked_of_draws(question, plan), "first", "n"}


def test_names_of_tables_are_unique():
    names = [name for question in QUESTIONS for name in tables_left(question)]
    assert len(names) == len(set(names))


def test_snakemake_has_still_what_the_snakefile_replaces():
    """Not to load pandas at each start; a name that is gone there would be made up in silence."""
    assert callable(PersistenceBase._serialize_param_pandas)
    assert PersistenceBase._serialize_param_builtin(None, {"one": [1, "two"]}) == "{'one': [1, 'two']}"
