"""From the declared questions to the jobs of a run.

The quick questions of an outcome share one job, since a small series pays mostly for start-up. A question that
resamples draws in chunks, a job each; what was drawn for an outcome is pooled in one more job.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Any

from liftseries.models.files import PARTS, file_of, work_file
from liftseries.models.questions import QUESTIONS, ROOMS, questions_for
from liftseries.models.shared.question import Draws, Question
from liftseries.study.plan import Plan


@dataclass(frozen=True)
class Job:
    """Questions that are answered in one process.

    Attributes
    ----------
    name, message : for Snakemake
    questions : by name
    inputs, outputs : table -> file
    asked : question -> argument -> value of the plan; a change of it makes the job run again
    drawn : question -> files of its replicates, for those that resample
    functions : that answer; a change of their code makes it run again
    """

    name: str
    message: str
    questions: tuple[str, ...]
    inputs: Mapping[str, str | list[str]]
    outputs: Mapping[str, str]
    asked: Mapping[str, Mapping[str, Any]]
    drawn: Mapping[str, list[str]]
    functions: list[str]


def quick_jobs(plan: Plan) -> Iterator[Job]:
    """A job for each outcome: all its questions that do not resample; and for each question that wants its own."""
    for room, title in ROOMS.items():
        quick = [one for one in questions_for(plan.purpose) if one.room == room and not one.draws]
        if questions := [one for one in quick if not one.alone]:
            yield _job(plan, room, title, questions)
        for question in (one for one in quick if one.alone):
            yield _job(plan, question.name, f"{title}: {question.says}", [question])


def pooling_jobs(plan: Plan) -> Iterator[Job]:
    """A job for each outcome that has questions which resample: what was drawn is pooled."""
    for room, title in ROOMS.items():
        if questions := [one for one in resampling(questions_for(plan.purpose)) if one.room == room]:
            yield _job(plan, f"{room}_resampled", f"{title}: from the resamples", questions)


def _job(plan: Plan, name: str, message: str, questions: list[Question]) -> Job:
    inputs: dict[str, str | list[str]] = {}
    for question in questions:
        inputs |= files_read(question)
    drawn = {question.name: draw_files(question, plan) for question in questions if question.draws}
    return Job(
        name=name,
        message=message,
        questions=tuple(question.name for question in questions),
        inputs=inputs | drawn,
        outputs={table: work_file(table) for question in questions for table in tables_left(question)},
        asked={question.name: asked(question.asks, plan) for question in questions},
        drawn=drawn,
        functions=functions_of(*questions),
    )


def files_read(question: Question) -> dict[str, str]:
    """Name for Snakemake -> file, of every table that a question reads."""
    return {source.replace(":", "_"): file_of(source) for source in question.reads.values()}


def tables_left(question: Question) -> list[str]:
    """Names of the tables that a question leaves: estimates and the sites left out, its own, those of its models."""
    estimates = [question.name, left_out(question.name)] if question.analyses else []
    models = [f"{model}.{part}" for model in question.fits for part in PARTS]
    return [*estimates, *(table.name for table in question.leaves), *models]


def left_out(question: str) -> str:
    """The table of the sites that a question left out."""
    return f"{question}.left_out"


def asked(asks: Mapping[str, str], plan: Plan) -> dict[str, Any]:
    """Argument -> value of the plan."""
    return {argument: plan_value(plan, key) for argument, key in asks.items()}


def plan_value(plan: Plan, key: str) -> Any:
    """`seed`, `imputation.sets`."""
    section, *inner = key.split(".")
    return reduce(lambda value, name: value[name], inner, getattr(plan, section))


def functions_of(*questions: Question) -> list[str]:
    """The functions that answer questions and draw for them."""
    return [
        function
        for one in questions
        for function in (one.function, *((one.draws.function, one.draws.events) if one.draws else ()))
        if function
    ]


# ── resampling ──────────────────────────────────────────────────────────────────────────────────────────────


def resampling(questions: Iterable[Question] = QUESTIONS) -> list[Question]:
    """Those of the questions that draw."""
    return [question for question in questions if question.draws]


def asked_of_draws(question: Question, plan: Plan) -> dict[str, Any]:
    """What a question's draws need of the plan."""
    return asked({**question.asks, **question.draws.asks}, plan)


def draw_files(question: Question, plan: Plan) -> list[str]:
    """The files that the jobs of a question's replicates leave, in the order of the replicates."""
    firsts = range(0, plan_value(plan, question.draws.n), question.draws.a_job)
    return [work_file(f"draws/{question.name}_{first}") for first in firsts]


def chunk_of(draws: Draws, first: int, n: int, n_drawn: int) -> tuple[int, int]:
    """The first replicate of a job, and how many it draws.

    Parameters
    ----------
    draws
    first, n : the number that the job begins with, of so many that the plan asks for
    n_drawn : how many are drawn instead, which the jobs share alike
    """
    begins, ends = (number * n_drawn // n for number in (first, min(first + draws.a_job, n)))
    return begins, ends - begins
