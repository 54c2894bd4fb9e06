"""All questions in the order of the report: the one list of analyses, and of the tables that may leave the house."""

from collections.abc import Iterable

from liftseries.disclosure.declared import Rule, TableRules
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

# Not asked by anybody: sites that stay out of every analysis of implants are rows of left_out alone.
FOLLOW_UP = Analysis(
    "follow_up",
    "implants with a visit that tells how they fare",
    left_out="liftseries.models.shared.behind:not_followed",
)
# Tables of all questions together. Who stands behind their rows is declared with each analysis.
LEFT_OUT = TableRules(("n_sites",))
RESULTS = TableRules(
    ("n_sites", "n_patients", "n_events"),
    (
        Rule(("estimate", "std_error", "conf_low", "conf_high", "p_value"), behind=1, given_away=True),
        Rule(("df",), ("n_patients", "n_events"), behind=1, given_away=True),
    ),
    labels=("conf_level",),
)
# Which of two counts that hide a third equally well is withheld depends on the order in which a release counts: what
# describes the series goes first, what was imputed last, and a question that is not named here after those.
COUNTED_IN_ORDER = (
    "series",
    "followup_completeness",
    "survival_life_table",
    "survival_km",
    "gain_mixed",
    "bone_marginal",
    "perforation_imputed",
    "survival_imputed",
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
    place = {name: at for at, name in enumerate(COUNTED_IN_ORDER)}
    in_order = sorted(QUESTIONS, key=lambda question: place.get(question.name, len(place)))
    tables = {table.name: table.disclosure for question in in_order for table in question.leaves if table.disclosure}
    tables |= {"left_out": LEFT_OUT, "results": RESULTS}
    return dict(sorted(tables.items(), key=lambda table: bool(table[1].coarsened)))
