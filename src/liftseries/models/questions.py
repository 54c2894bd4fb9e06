"""All questions in the order of the report: the one list of analyses."""

from liftseries.models.depth import questions as depth
from liftseries.models.gain import questions as gain
from liftseries.models.perforation import questions as perforation
from liftseries.models.sensitivity import questions as sensitivity
from liftseries.models.series import questions as series
from liftseries.models.shared.question import Analysis, Question
from liftseries.models.survival import questions as survival

ROOMS = {
    module.__name__.split(".")[-2]: module.TITLE for module in (series, perforation, survival, gain, depth, sensitivity)
}
QUESTIONS: tuple[Question, ...] = (
    *series.QUESTIONS,
    *perforation.QUESTIONS,
    *survival.QUESTIONS,
    *gain.QUESTIONS,
    *sensitivity.ALIKE,
    *depth.QUESTIONS,
    *sensitivity.QUESTIONS,
)
QUESTION_OF: dict[str, Question] = {analysis.name: question for question in QUESTIONS for analysis in question.analyses}
ANALYSES: dict[str, Analysis] = {analysis.name: analysis for question in QUESTIONS for analysis in question.analyses}


def question(name: str) -> Question:
    """The question of that name.

    Raises
    ------
    KeyError
        There is none.
    """
    return {question.name: question for question in QUESTIONS}[name]
