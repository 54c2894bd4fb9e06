"""Invented tables for the models."""

import pandas as pd
import pytest
from invented import LEVELS, category, invented_cases, invented_visits


@pytest.fixture(scope="session")
def as_category():
    return category


@pytest.fixture(scope="session")
def many_cases() -> pd.DataFrame:
    return invented_cases(n_patients=120, seed=5)


@pytest.fixture(scope="session")
def few_cases() -> pd.DataFrame:
    return invented_cases(n_patients=30, seed=6)


@pytest.fixture(scope="session")
def many_visits(many_cases) -> pd.DataFrame:
    return invented_visits(many_cases, seed=7)


@pytest.fixture
def one_site_each():
    """Call with columns: a table of sites S0, S1 …, each of its own patient."""

    def table(**columns) -> pd.DataFrame:
        n = len(next(iter(columns.values())))
        ids = {"site_id": [f"S{i}" for i in range(n)], "patient_id": [f"P{i}" for i in range(n)]}
        columns = {k: category(k, v) if k in LEVELS else v for k, v in columns.items()}
        return pd.DataFrame(ids | columns)

    return table
