"""What is made from the schemas is up to date, and an independent reader of the open standard agrees with it."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import pytest
from frictionless import Resource, system
from jsonschema import Draft202012Validator
from studies import cell, changed, tables

from liftseries.schema import TABLES

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
    ("table", "change"),
    [
        ("patients", cell(2, "age_years", "7")),
        ("sites", cell(2, "approach", "by hand")),
        ("sites", cell(2, "rbh_max_mm", "21")),
        ("steps", cell(2, "finding", "")),
        ("visits", cell(2, "months", "soon")),
    ],
)
def test_faulty_table_is_not(table, change, tmp_path):
    assert not check(table, changed({table: change})[table], tmp_path).valid


def test_plan_schema_is_a_json_schema_that_knows_its_keys():
    schema = json.loads((ROOT / "schemas" / "generated" / "plan.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    sound = {"tables": {"patients": ["p.csv"], "sites": ["s.csv"], "instruments": ["i.csv"], "stops": ["t.csv"]}}
    assert validator.is_valid(sound)
    assert not validator.is_valid({**sound, "plan": {"step": 1}})


def test_dictionary_names_every_column_with_unit_and_meaning():
    from liftseries.schema import read_schema

    page = (ROOT / "schemas" / "generated" / "dictionary.md").read_text(encoding="utf-8")
    for table in read_schema().values():
        for column in table.columns.values():
            assert f"`{column.name}`" in page
            assert column.means.rstrip(".") in page
