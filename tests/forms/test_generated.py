"""What is made from the schemas is up to date, and an independent reader of the open standard agrees with it."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import pytest
from frictionless import Resource, system
from jsonschema import Draft202012Validator
from studies import cell, changed, tables

from liftseries.study.schema import TABLES

ROOT = Path(__file__).parents[2]
GENERATED = runpy.run_path(str(ROOT / "schemas" / "generate.py"))["generated"]()


@pytest.mark.parametrize("path", GENERATED, ids=lambda path: path.name)
def test_generated_file_is_not_stale(path):
    assert path.read_text(encoding="utf-8") == GENERATED[path], f"run: python {ROOT.name}/schemas/generate.py"


def test_readme_carries_the_key_table():
    assert ROOT / "README.md" in GENERATED


def check(table: str, frame, folder: Path):
    """Frictionless's own verdict on a table, by the generated Table Schema."""
    path = folder / f"{table}.csv"
    frame.to_csv(path, index=False)
    descriptor = json.loads((ROOT / "schemas" / "generated" / f"{table}.schema.json").read_text(encoding="utf-8"))
    descriptor["fields"] = [field for field in descriptor["fields"] if field["name"] in frame]
    descriptor.pop("foreignKeys", None)  # the other tables are not at hand here
    resource = {
        "$schema": "https://datapackage.org/profiles/2.0/dataresource.json",
        "name": table,
        "path": str(path),
        "schema": descriptor,
    }
    with system.use_context(trusted=True):
        return Resource.from_descriptor(resource).validate()


@pytest.mark.parametrize("table", TABLES)
def test_sound_table_is_valid_by_the_open_standard(table, tmp_path):
    assert check(table, tables()[table], tmp_path).valid


@pytest.mark.parametrize(
    ("table", "column", "typed", "kind"),
    [
        ("patients", "age_years", "7", "constraint-error"),  # minimum
        ("sites", "approach", "by hand", "constraint-error"),  # enum
        ("sites", "rbh_max_mm", "21", "constraint-error"),  # maximum
        ("sites", "rbh_max_mm", "0", "constraint-error"),  # exclusiveMinimum
        ("steps", "finding", "", "constraint-error"),  # required
        ("visits", "months", "soon", "type-error"),
        ("instruments", "instrument_id", "hand-12", "unique-error"),
        ("stops", "marking_mm", "eight", "type-error"),
    ],
)
def test_faulty_cell_is_found_by_the_open_standard(table, column, typed, kind, tmp_path):
    report = check(table, changed({table: cell(2, column, typed)})[table], tmp_path)
    assert [column, kind] in report.flatten(["fieldName", "type"])


def test_table_schemas_name_keys_and_references():
    schemas = {
        table: json.loads((ROOT / "schemas" / "generated" / f"{table}.schema.json").read_text(encoding="utf-8"))
        for table in TABLES
    }
    assert schemas["steps"]["primaryKey"] == ["site_id", "step_no"]
    for schema in schemas.values():
        fields = {field["name"]: field for field in schema["fields"]}
        for reference in schema.get("foreignKeys", ()):
            parent = schemas[reference["reference"]["resource"]]
            assert reference["reference"]["fields"] == parent["primaryKey"]
            assert set(reference["fields"]) <= set(fields)
        # Units stand in the names and in the schema, and agree.
        units = {"mm": "mm", "ml": "ml", "ncm": "N cm", "rpm": "rpm", "years": "years", "months": "months"}
        for name, field in fields.items():
            assert field.get("unit") == units.get(name.rpartition("_")[2])


def test_plan_schema_is_a_json_schema_that_knows_its_keys():
    schema = json.loads((ROOT / "schemas" / "generated" / "plan.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    sound = {"tables": {"patients": ["p.csv"], "sites": ["s.csv"], "instruments": ["i.csv"], "stops": ["t.csv"]}}
    assert validator.is_valid(sound)
    assert not validator.is_valid({**sound, "plan": {"step": 1}})


def test_dictionary_names_every_column_with_unit_and_meaning():
    from liftseries.study.schema import derived_schema, read_schema

    page = (ROOT / "schemas" / "generated" / "dictionary.md").read_text(encoding="utf-8")
    for table in (*read_schema().values(), *derived_schema().values()):
        for column in table.columns.values():
            assert f"`{column.name}`" in page
            assert column.means.rstrip(".") in page
