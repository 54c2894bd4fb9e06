"""The methods of results.csv: codes that analyses declare, each a constant of the room that computes it."""

from __future__ import annotations

import re
from importlib import import_module
from pkgutil import iter_modules

import pytest

from liftseries.models.questions import QUESTIONS
from liftseries.models.shared.question import ONE_SIDED


@pytest.mark.parametrize("question", [one for one in QUESTIONS if one.analyses], ids=lambda question: question.name)
def test_methods_are_codes_of_the_room_with_words_for_the_report(question):
    room = import_module(f"liftseries.models.{question.room}")
    modules = [import_module(f"{room.__name__}.{found.name}") for found in iter_modules(room.__path__)]
    codes = {value for module in modules for value in vars(module).values() if isinstance(value, str)}
    for analysis in question.analyses:
        assert analysis.methods
        assert set(analysis.methods) <= codes | set(ONE_SIDED)
        for code, words in analysis.methods.items():
            assert re.fullmatch("[a-z][a-z0-9_]*", code)
            assert words
            assert not words.endswith(".")
