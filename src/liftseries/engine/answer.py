"""One job's questions answered: their tables read, their functions called, what they leave written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import pandas as pd

from liftseries.base.named import function_named
from liftseries.base.outputs import write_csv
from liftseries.base.tables import Tables
from liftseries.engine.job import Job
from liftseries.engine.questions import chunk_of, left_out
from liftseries.models.files import PARTS, where, work_file
from liftseries.models.questions import question as question_named
from liftseries.models.shared.fitted import COLUMNS
from liftseries.models.shared.question import Question
from liftseries.models.shared.resamples import n_drawn


def answer_job(job: Job) -> None:
    """Answers the questions of a job.

    Its params: `questions`, their names; `asked`, question -> argument -> value of the plan; `drawn`, question -> files
    of its replicates, for those that resample.
    """
    tables, asked = Tables(where), job.params
    for name in asked.questions:
        draws = {"draws": read_draws(asked.drawn[name])} if name in asked.drawn else {}
        for table, left in answer(question_named(name), tables, {**asked.asked[name], **draws}).items():
            write_csv(work_file(table), left)


def draw_job(job: Job) -> None:
    """Draws one chunk of a question's replicates."""
    asked, first = job.params, int(job.wildcards.first)
    write_csv(job.outputs.draws, draw_chunk(asked.question, asked.asked, first, asked.n))


def answer(question: Question, tables: Callable[[str], pd.DataFrame], asked: Mapping[str, Any]) -> dict:
    """What a question leaves, by the names of its tables: `tables_left`.

    A question's rows stand before its design effects.
    """
    found = function_named(question.function)(**arguments(question, tables), **asked)
    left = {table.name: getattr(found, table.attribute) if table.attribute else found for table in question.leaves}
    if question.analyses:
        rows = [rows for rows in (found.rows, found.design_effects) if len(rows)]
        left[question.name] = pd.concat(rows, ignore_index=True) if rows else found.rows
        left[left_out(question.name)] = found.left_out
        models = {model.name: model.tables() for model in found.fitted}
        without = {part: pd.DataFrame(columns=columns) for part, columns in COLUMNS.items()}  # the data ask for none
        left |= {f"{name}.{part}": models.get(name, without)[part] for name in question.fits for part in PARTS}
    return left


def draw_chunk(name: str, asked: Mapping[str, Any], first: int, n: int) -> pd.DataFrame:
    """The replicates of one job, which begins with number `first` of the `n` that the plan asks for."""
    question = question_named(name)
    inputs, draws = arguments(question, Tables(where)), question.draws
    inputs.pop("by", None)
    replicates = n_drawn(n, function_named(draws.events)(**inputs), draws.fewest)
    begins, drawn_here = chunk_of(draws, first, n, replicates)
    return function_named(draws.function)(**inputs, **asked, first=begins, n=drawn_here)


def arguments(question: Question, tables: Callable[[str], pd.DataFrame]) -> dict[str, Any]:
    """The tables that a question reads, and its subsets."""
    by = {"by": list(question.by)} if question.by else {}
    return {argument: tables(source) for argument, source in question.reads.items()} | by


def read_draws(paths: Iterable[str]) -> pd.DataFrame:
    """The tables that the jobs of one resampling left, in the order of their replicates."""
    return pd.concat([pd.read_csv(path) for path in paths], ignore_index=True)
