"""Made-up series, from ample to empty."""

import pytest
from made_series import Series, made_series

KINDS = {
    "full": {"n_patients": 90, "seed": 3},
    "tiny": {"n_patients": 2, "seed": 4},
    "one_level": {"n_patients": 40, "seed": 5, "approaches": ("guided",)},
    "empty": {"n_patients": 0, "seed": 6},
    "no_visits_no_log": {"n_patients": 30, "seed": 8, "visits": False, "log": False},
}


@pytest.fixture(scope="session")
def made() -> dict[str, Series]:
    """A series of every kind."""
    return {kind: made_series(**options) for kind, options in KINDS.items()}


@pytest.fixture(scope="session")
def drawings(made) -> dict:
    """Every figure of every series."""
    return {kind: series.drawings() for kind, series in made.items()}
