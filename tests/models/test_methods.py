"""The methods of results.csv: codes that analyses declare, each a constant of the outcome that computes it."""

from __future__ import annotations

import re
from importlib import import_module
from pkgutil import iter_modules

import pytest

from liftseries.models.questions import QUESTIONS


def constants(room: str) -> set[str]:
    """The texts that the modules of an outcome name, or take from others by name."""
    package = import_module(f"liftseries.models.{room}")
    modules = [import_module(f"{package.__name__}.{module.name}") for module in iter_modules(package.__path__)]
    return {value for module in modules for value in vars(module).values() if isinstance(value, str)}


@pytest.mark.parametrize("question", [one for one in QUESTIONS if one.analyses], ids=lambda question: question.name)
def test_methods_are_codes_of_their_outcome_with_words_for_the_report(question):
    named = constants(question.room) | constants("shared")
    for analysis in question.analyses:
        assert analysis.methods
        assert set(analysis.methods) <= named
        for code, words in analysis.methods.items():
            assert re.fullmatch("[a-z][a-z0-9_]*", code)
            assert words
            assert not words.endswith(".")
