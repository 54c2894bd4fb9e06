"""A table of the schema as a Frictionless Table Schema, an open standard for describing tables.

Source: Table Schema, https://specs.frictionlessdata.io/table-schema/ (fields, constraints, primaryKey,
foreignKeys, missingValues). `unit`, `measured` and `condition` are properties of our own, which the standard
allows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from liftseries.schema import Column, Table

VERSION = "https://datapackage.org/profiles/2.0/tableschema.json"  # the first that knows exclusiveMinimum
TYPES = {"text": "string", "category": "string", "integer": "integer", "number": "number"}


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
    if table.references:
        descriptor["foreignKeys"] = [
            {"fields": [column], "reference": {"resource": parent, "fields": list(schema[parent].key)}}
            for column, parent in table.references.items()
        ]
    return descriptor


def _field(column: Column, is_unique: bool) -> dict[str, Any]:
    constraints = {
        "required": column.required or None,
        "unique": is_unique or None,
        "enum": list(column.levels) or None,
        "minimum": column.at_least,
        "exclusiveMinimum": column.above,
        "maximum": column.at_most,
    }
    field = {
        "name": column.name,
        "type": TYPES[column.type],
        "title": column.title,
        "description": column.means,
        "unit": column.unit,
        "measured": column.measured,
        "condition": column.condition or (f"an empty cell means {column.when_empty}" if column.when_empty else ""),
        "constraints": {name: value for name, value in constraints.items() if value is not None},
    }
    return {name: value for name, value in field.items() if value}


def as_json(descriptor: Mapping[str, Any]) -> str:
    """The descriptor as the text of a file."""
    return json.dumps(descriptor, indent=2, ensure_ascii=False) + "\n"
