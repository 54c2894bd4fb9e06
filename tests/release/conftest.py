"""A made-up series of every kind, whole and masked."""

from __future__ import annotations

import pytest
from release_series import KINDS, Made, made_of


@pytest.fixture(params=KINDS)
def made(request) -> Made:
    """A series of every kind."""
    return made_of(request.param)


@pytest.fixture
def whole(made):
    """What the released report is made from before anything is withheld."""
    return made.masked.whole


@pytest.fixture
def masked(made):
    """What the released one is made from."""
    return made.masked


@pytest.fixture
def population(made):
    """Its sites."""
    return made.population
