"""The tables in the open standard for describing data: each as a Table Schema, all of a study as one Data Package.

Source: Data Package 2.0, https://datapackage.org/standard/data-package/ (resources), /table-schema/ (fields,
constraints, primaryKey, foreignKeys, missingValues) and /table-dialect/ (sheetName). The Frictionless client knows no
`sheetName` and would read the first sheet for every table: `excel` beside it is its own word. What the standard has no
word for (`unit`, `measured`, `condition`, `neededWhen`, `allowedWhen`, `appliesWhen`, `notation`, `whenEmpty`,
`reference`, `identifies`, `knownFrom`; `rules` of a table) are properties of our own, which the standard allows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from liftseries.study.schema import Column, Table

PROFILES = "https://datapackage.org/profiles/2.0"
VERSION = f"{PROFILES}/tableschema.json"  # the first that knows exclusiveMinimum
TYPES = {
    "text": "string",
    "category": "string",
    "integer": "integer",
    "number": "number",
    "true_false": "boolean",
    "date": "string",  # a day or a month, for which the standard has no common type
}
DAY_OR_MONTH = "[0-9]{4}-[0-9]{2}(-[0-9]{2})?"


def table_schema(table: Table, schema: Mapping[str, Table]) -> dict[str, Any]:
    """The descriptor of one table.

    Parameters
    ----------
    table
    schema
        All tables, for the keys that references name.
    """
    alone = table.key[0] if len(table.key) == 1 else ""
    descriptor = {
        "$schema": VERSION,
        "name": table.name,
        "title": table.title,
        "description": table.means,
        "fields": [_field(column, column.name == alone) for column in table.columns.values()],
        "primaryKey": list(table.key),
        "missingValues": [""],
    }
    if table.rules:
        descriptor["rules"] = [{"name": rule.rule, "holds": rule.holds} for rule in table.rules]
    if table.references:
        descriptor["foreignKeys"] = [
            {"fields": [column], "reference": {"resource": parent, "fields": list(schema[parent].key)}}
            for column, parent in table.references.items()
        ]
    return descriptor


def data_package(schema: Mapping[str, Table], files: Mapping[str, str], name: str) -> dict[str, Any]:
    """One descriptor of all tables, with what refers to what.

    Parameters
    ----------
    schema
    files : table -> its file as study.yaml names it, `patients.csv` or `cases.xlsx#patients`
    name
        Of the package: small letters, digits, hyphens.
    """
    return {
        "$schema": f"{PROFILES}/datapackage.json",
        "name": name,
        "title": "Case series of crestal sinus floor lifts with implants",
        "resources": [_resource(schema[table], file, schema) for table, file in files.items()],
    }


def _resource(table: Table, file: str, schema: Mapping[str, Table]) -> dict[str, Any]:
    path, _, sheet = file.partition("#")
    resource = {"name": table.name, "type": "table", "title": table.title, "path": path}
    if sheet:
        dialect = {"$schema": f"{PROFILES}/tabledialect.json", "sheetName": sheet, "excel": {"sheet": sheet}}
        resource |= {"format": "xlsx", "dialect": dialect}
    else:
        resource |= {"format": "csv", "encoding": "utf-8"}
    return resource | {"schema": table_schema(table, schema)}


def _field(column: Column, is_unique: bool) -> dict[str, Any]:
    constraints = {
        "required": column.required or None,
        "unique": is_unique or None,
        "enum": list(column.levels) or None,
        "minimum": column.at_least,
        "exclusiveMinimum": column.above,
        "maximum": column.at_most,
        "pattern": DAY_OR_MONTH if column.type == "date" else None,
    }
    field = {
        "name": column.name,
        "type": TYPES[column.type],
        "title": column.title,
        "description": column.means,
        "unit": column.unit,
        "measured": column.measured,
        "condition": column.condition or (f"an empty cell means {column.when_empty}" if column.when_empty else ""),
        "neededWhen": column.needed_when,
        "allowedWhen": column.allowed_when,
        "appliesWhen": column.applies_when,
        "notation": column.notation,
        "whenEmpty": column.when_empty,
        "reference": column.reference,
        "example": column.example,
        "identifies": column.identifies,
        "knownFrom": column.known_from,
        "constraints": {name: value for name, value in constraints.items() if value is not None},
    }
    return {name: value for name, value in field.items() if value}


def as_json(descriptor: Mapping[str, Any]) -> str:
    """The descriptor as the text of a file."""
    return json.dumps(descriptor, indent=2, ensure_ascii=False) + "\n"
