"""All questions in the order of the report: the one list of analyses, and of the tables that may leave the house."""

from collections.abc import Iterable

from liftseries.disclosure.declared import ESTIMATE_NEEDS, Rule, TableRules
from liftseries.models.audit import questions as audit
from liftseries.models.comparison import questions as comparison
from liftseries.models.depth import questions as depth
from liftseries.models.gain import questions as gain
from liftseries.models.perforation import questions as perforation
from liftseries.models.sensitivity import questions as sensitivity
from liftseries.models.series import questions as series
from liftseries.models.shared.question import Analysis, Question
from liftseries.models.survival import questions as survival

ROOMS = {
    module.__name__.split(".")[-2]: module.TITLE
    for module in (series, perforation, survival, gain, depth, sensitivity, comparison, audit)
}
QUESTIONS: tuple[Question, ...] = (
    *series.QUESTIONS,
    *perforation.QUESTIONS,
    *survival.QUESTIONS,
    *gain.QUESTIONS,
    *sensitivity.ALIKE,
    *depth.QUESTIONS,
    *sensitivity.QUESTIONS,
    *comparison.QUESTIONS,
    *audit.QUESTIONS,
)
QUESTION_OF: dict[str, Question] = {analysis.name: question for question in QUESTIONS for analysis in question.analyses}
ANALYSES: dict[str, Analysis] = {analysis.name: analysis for question in QUESTIONS for analysis in question.analyses}

# The table of all questions together. Who stands behind its rows is declared with each analysis.
RESULTS = TableRules(
    ("n_sites", "n_patients", "n_events"),
    (
        Rule(("estimate",), behind=ESTIMATE_NEEDS, given_away=True),
        Rule(("conf_low", "conf_high", "p_value"), behind=ESTIMATE_NEEDS, given_away=True, interval=True),
    ),
    labels=("conf_level",),
    told_by=("analysis",),
)


def question(name: str) -> Question:
    """The question of that name.

    Raises
    ------
    KeyError
        There is none.
    """
    return {question.name: question for question in QUESTIONS}[name]


def questions_for(purposes: Iterable[str]) -> tuple[Question, ...]:
    """The questions that these purposes ask."""
    wanted = set(purposes)
    return tuple(question for question in QUESTIONS if wanted & set(question.purposes))


def tables_that_may_leave() -> dict[str, TableRules]:
    """Table -> how it may leave the house; then those in which all questions meet, and those made from others."""
    tables = {table.name: table.disclosure for question in QUESTIONS for table in question.leaves if table.disclosure}
    tables |= {"results": RESULTS}
    return dict(sorted(tables.items(), key=lambda table: bool(table[1].coarsened)))
