"""The questions of this room, as declared."""

from __future__ import annotations

from liftseries.models.shared.question import Question

TITLE = "Audit"
QUESTIONS: tuple[Question, ...] = ()
