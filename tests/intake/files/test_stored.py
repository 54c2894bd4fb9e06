"""What a workbook or Parquet file stores is what people see in it: the same values as in a CSV."""

from __future__ import annotations

import re
import time
from decimal import Decimal

import pandas as pd
import pyarrow as pa
import pytest
from stored import replaced, rewrite, with_patients
from studies import as_typed, cell, tables, write_study

from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The tables of the study as comma-separated files."""
    return read_study(read_plan(write_study(tmp_path_factory.mktemp("plain")))).tables


def assert_same(folder, plain):
    found = read_study(read_plan(folder)).tables
    for name in plain:
        pd.testing.assert_frame_equal(found[name], plain[name], check_exact=True)


def test_formula_that_gives_an_empty_text_is_an_empty_cell(tmp_path):
    """`=IF(A2="","",…)` is stored as a text without content; a formula never calculated has no type.

    Source: ECMA-376-1, 18.3.1.4 (c) and 18.18.11 (ST_CellType): t="str" is a cell with a formula string.
    """
    folder = write_study(tmp_path, {"sites": cell(2, "torque_ncm", "77.125")}, ending="xlsx")
    path, sheet = folder / "study.xlsx", "xl/worksheets/sheet2.xml"
    rewrite(path, sheet, replaced(b"<v>77.125</v>", b'<f>IF(A2="","","")</f><v></v>'))
    (problem,) = check_study(read_plan(folder))[1]
    assert "a formula without a stored value" in problem.message
    rewrite(path, sheet, lambda part: re.sub(rb'<c r="(\w+)"[^>]*><f>', rb'<c r="\1" t="str"><f>', part))
    assert pd.isna(read_study(read_plan(folder)).tables["sites"].at[0, "torque_ncm"])


def test_number_beyond_floating_point_is_refused(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    digits = b"9" * 400
    rewrite(folder / "study.xlsx", "xl/worksheets/sheet1.xml", replaced(b"<v>54</v>", b"<v>" + digits + b"</v>"))
    (problem,) = check_study(read_plan(folder))[1]
    assert str(problem).startswith("study.xlsx, sheet patients, cell C2, age_years: no finite number.")


@pytest.mark.parametrize(
    "values",
    [
        pa.array([54, 61, 47], pa.uint8()),
        pa.array([54, 61, 47], pa.float16()),
        pa.array([54, 61, 47], pa.float32()),
        pa.array([Decimal("54.0"), Decimal("61.0"), Decimal("47.0")], pa.decimal128(10, 1)),
        pa.array(["54", " 61", "47,0"], pa.large_string()),
        pa.array([54, 61, 47]).dictionary_encode(),
    ],
    ids=lambda values: str(values.type),
)
def test_types_of_a_whole_number(tmp_path, plain, values):
    assert_same(with_patients(tmp_path, age_years=values), plain)


def test_single_precision_means_its_shortest_decimal(tmp_path, plain):
    """5.2 stays 5.2, as in the CSV; read as it stands it would be 5.199999809265137."""
    folder = write_study(tmp_path, ending="parquet")
    sites = as_typed(tables()["sites"])
    numbers = sites.columns[sites.columns.str.endswith("_mm")]
    sites.astype(dict.fromkeys(numbers, "float32")).to_parquet(folder / "sites.parquet")
    assert_same(folder, plain)


def test_long_numbers_stay_apart_as_keys(tmp_path):
    """2**53 and 2**53 + 1 are one number in floating point."""
    keys = pa.array([2**53, 2**53 + 1, 3])
    folder = with_patients(tmp_path, patient_id=keys)
    names = dict(zip(("p1", "p2", "p3"), map(str, keys.to_pylist()), strict=True))
    tables()["sites"].replace(names).to_csv(folder / "sites.csv", index=False)
    assert check_study(read_plan(folder))[1] == []


def test_640_sites_of_a_workbook_are_read_in_seconds(tmp_path):
    many = tables()
    for name in ("patients", "sites", "steps", "visits"):
        own = [column for column in ("patient_id", "site_id") if column in many[name]]
        copies = [many[name].assign(**{key: many[name][key] + f"-{copy}" for key in own}) for copy in range(160)]
        many[name] = pd.concat(copies, ignore_index=True)
    plan = read_plan(write_study(tmp_path, many, ending="xlsx"))
    start = time.process_time()
    intake = read_study(plan)
    assert time.process_time() - start < 5  # measured: 1 s, from CSV 0.2 s
    assert intake.counts.set_index("table")["kept"].to_dict() == {name: len(table) for name, table in many.items()}
