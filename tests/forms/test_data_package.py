"""The Data Package: an independent reader of the open standard follows its references from table to table."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest
from frictionless import Package
from studies import cell, changed, tables

from liftseries.forms.templates import new_study
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan
from liftseries.study.schema import TABLES, read_schema

DEMO = Path(__file__).parents[2] / "synthetic_data"


def package_of(folder: Path, drawn: dict, extra_columns: dict | None = None) -> Package:
    """A folder as `new` makes it, its tables filled in."""
    new_study(folder, extra_columns=extra_columns)
    schema = read_schema(extra_columns)
    for name, table in drawn.items():
        table.reindex(columns=list(schema[name].columns)).to_csv(folder / f"{name}.csv", index=False)
    return Package(str(folder / "datapackage.json"))


def test_sound_study_is_valid(tmp_path):
    report = package_of(tmp_path / "mine", tables()).validate()
    assert report.valid, report.flatten(["name", "type", "note"])
    assert [task.name for task in report.tasks] == list(TABLES)


@pytest.mark.parametrize(
    ("table", "column", "parent"),
    [
        ("sites", "patient_id", "patients"),
        ("steps", "site_id", "sites"),
        ("steps", "instrument_id", "instruments"),
        ("steps", "stop_id", "stops"),
        ("visits", "site_id", "sites"),
    ],
)
def test_reference_to_nothing_is_found(table, column, parent, tmp_path):
    report = package_of(tmp_path / "mine", changed({table: cell(2, column, "nobody")})).validate()
    found = {task.name: task.flatten(["rowNumber", "type"]) for task in report.tasks}
    assert [2, "foreign-key"] in found[table]
    assert {column: parent}.items() <= read_schema()[table].references.items()


def test_demo_is_valid(tmp_path):
    """Five centres' tables, whatever files they came in, with the study's own column."""
    plan = read_plan(DEMO)
    report = package_of(tmp_path / "mine", read_study(plan).tables, plan.extra_columns).validate()
    assert report.valid, report.flatten(["type", "fieldName", "note"])[:5]
    assert sum(task.stats["rows"] for task in report.tasks) > 1000


def test_workbook_of_a_study_is_named_sheet_by_sheet(tmp_path):
    """Table Dialect 2.0: `sheetName`."""
    new_study(tmp_path / "mine", workbook=True)
    package = json.loads((tmp_path / "mine" / "datapackage.json").read_text(encoding="utf-8"))
    sheets = {
        resource["name"]: (resource["path"], resource["dialect"]["sheetName"]) for resource in package["resources"]
    }
    assert sheets == {name: ("cases.xlsx", name) for name in TABLES}


def test_workbook_is_read_sheet_by_sheet_by_the_client(tmp_path):
    """It knows no `sheetName`, and without a word of its own reads the first sheet for every table."""
    new_study(tmp_path / "mine", workbook=True)
    path, drawn = tmp_path / "mine" / "cases.xlsx", tables()
    book = openpyxl.load_workbook(path)
    for name, table in drawn.items():
        columns = {cell.value: cell.column for cell in book[name][1]}
        for column in table:
            numbers = read_schema()[name].columns[column].type in ("number", "integer")
            for number, value in enumerate(table[column], start=2):
                if value:
                    book[name].cell(number, columns[column]).value = float(value) if numbers else value
    book.save(path)
    package = Package(str(tmp_path / "mine" / "datapackage.json"))
    for name, table in drawn.items():
        resource = package.get_resource(name)
        read = [row.to_dict() for row in resource.read_rows()]
        assert resource.labels == list(read_schema()[name].columns)
        key = read_schema()[name].key[0]
        assert [row[key] for row in read if row[key]] == table[key].tolist()
    report = package.validate()
    assert report.valid, report.flatten(["name", "type", "note"])
