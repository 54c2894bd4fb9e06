"""What `check` and a run that stops show of a study: problems by cause, decisions by rule, lines for study.yaml."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from liftseries.intake.cells.words import as_yaml, with_words
from liftseries.intake.told.causes import Cause
from liftseries.intake.told.screen import problem_screen
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.reading import Reading


class Shown(Protocol):
    """What is needed of an `Intake`."""

    proposed_reading: dict
    decided: list[Cause]


def screen_of(plan: Plan, intake: Shown, causes: Sequence[Cause], closing: Sequence[str] = ()) -> str:
    """Problems by cause, the decisions by rule, and the lines that study.yaml may take, as one screen of text."""
    lines = (plan.folder / PLAN_FILE).read_text(encoding="utf-8").splitlines()
    replaces = any(line.startswith("reading:") for line in lines)
    return problem_screen(
        causes, intake.proposed_reading, words_to_paste(plan, intake), intake.decided, closing, replaces
    )


def words_to_paste(plan: Plan, intake: Shown) -> str:
    """The section `reading` of study.yaml with all words that it may confirm, or an empty text."""
    if not intake.proposed_reading:
        return ""
    usual = vars(Reading())
    written = {key: told for key, told in plan.as_written["reading"].items() if told and told != usual.get(key)}
    return as_yaml(with_words(written, intake.proposed_reading))
