"""Coarsened rows beside the report: all that can be counted in them is known, and no small count comes out with it."""

from __future__ import annotations

from itertools import combinations

import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_series_of

from liftseries.release.check import attacked
from liftseries.release.masking import mask
from liftseries.release.rows import advice_of, can_be_counted, rows_of
from liftseries.study.schema import read_schema


@pytest.fixture(scope="module")
def made():
    """A series of which some counts are shown."""
    return made_series_of(n_patients=60, seed=8, visits=False, log=False)


@pytest.fixture(scope="module")
def rows(made):
    """Its rows."""
    cases, schema = made.series.cases, read_schema()
    tables = {
        name: cases[[column for column in schema[name].columns if column in cases]] for name in ("patients", "sites")
    }
    return rows_of(tables | {"patients": tables["patients"].drop_duplicates("patient_id")}, schema, SMALLEST_CELL)


@pytest.fixture(scope="module")
def masked(made, rows):
    """What leaves with them."""
    return mask(made.whole, made.population, SMALLEST_CELL, rows)


def test_every_count_of_the_rows_is_known(rows, masked):
    assert can_be_counted(rows)
    known = {(masked.ledger.entries[name].unit, masked.ledger.entries[name].value) for name in masked.ledger.known}
    patients = rows.tables["patients"].drop(columns="patient_no").astype(object).fillna("")
    n_sites = rows.tables["sites"]["patient_no"].value_counts()
    patients["n_sites"] = rows.tables["patients"]["patient_no"].map(n_sites)
    told = 0
    for size in range(1, patients.shape[1] + 1):
        for columns in combinations(patients, size):
            for _, group in patients.groupby(list(columns)):
                assert ("patients", len(group)) in known
                assert ("sites", int(group["n_sites"].sum())) in known
                told += 1
    assert told > 3
    assert min(masked.ledger.entries[name].n_patients for name in masked.ledger.known) >= SMALLEST_CELL


def test_no_small_count_can_be_worked_out_with_the_rows(masked):
    assert not masked.tells_no_count
    assert len(masked.protection.intervals) > 0
    assert masked.protection.intervals["protected"].all()
    assert attacked(masked, SMALLEST_CELL).recovered == []


def test_advice_holds_an_order_and_no_count(rows):
    told = advice_of(rows)
    assert list(told) == ["rank", "table", "column", "to"]
    assert told["rank"].tolist() == list(range(1, len(told) + 1))
    assert ("patients", "age_years") in set(zip(told["table"], told["column"], strict=True))


def test_too_few_patients_have_no_rows(rows):
    assert not can_be_counted(
        rows_of(
            {
                "patients": pd.DataFrame({"patient_id": ["a"], "sex": ["male"]}),
                "sites": pd.DataFrame({"site_id": ["1"], "patient_id": ["a"]}),
            },
            read_schema(),
            SMALLEST_CELL,
        )
    )
