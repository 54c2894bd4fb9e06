"""Made-up series, from ample to empty."""

import pytest
from made_series import KINDS, Series, made_series


@pytest.fixture(scope="session")
def made() -> dict[str, Series]:
    """A series of every kind."""
    return {kind: made_series(**options) for kind, options in KINDS.items()}


@pytest.fixture(scope="session")
def drawings(made) -> dict:
    """Every figure of every series."""
    return {kind: series.drawings() for kind, series in made.items()}
