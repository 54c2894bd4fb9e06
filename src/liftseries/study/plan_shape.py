"""The shape of study.yaml: its keys and their types as schemas/plan.yaml has them, and the defaults of missing keys.

An unknown key is told the nearest known one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any

from liftseries.base.errors import Problem, did_you_mean
from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_shipped_yaml
from liftseries.study.plan_files import PLAN_FILE


@cache
def plan_schema() -> dict[str, Any]:
    """schemas/plan.yaml, a JSON Schema."""
    return load_shipped_yaml((folder("schemas") / "plan.yaml").read_text(encoding="utf-8"))


def shape_problems(
    written: dict[str, Any], schema: Mapping[str, Any] | None = None, name: str = PLAN_FILE
) -> Iterator[Problem]:
    """Keys that are not known or missing, and values of another type or outside what schemas/plan.yaml allows.

    Parameters
    ----------
    written : what a file or a section of it holds
    schema : the part of schemas/plan.yaml that it must follow; the whole where none is given
    name : what its place begins with
    """
    from jsonschema import Draft202012Validator

    validator = Draft202012Validator(schema or plan_schema())
    errors = sorted(validator.iter_errors(written), key=lambda error: [str(key) for key in error.absolute_path])
    # Two missing keys are two errors, each of which knows all keys that are needed.
    yield from dict.fromkeys(
        problem for error in errors for problem in _in_words(error, _place(error.absolute_path, written, name))
    )


def _place(path: Iterable[str | int], written: Any, name: str) -> str:
    """`study.yaml, plan, audit, policy, stages, entry 2`: the keys that lead to a value, entries of a list counted."""
    names = [name]
    for key in path:
        names.append(f"entry {key + 1}" if isinstance(written, list) else str(key))
        written = written[key]
    return ", ".join(names)


def _in_words(error, where: str) -> Iterator[Problem]:
    expected, found = error.validator_value, error.instance
    match error.validator:
        case "additionalProperties":
            known = error.schema.get("properties", {})
            for key in found:
                if key not in known:
                    yield Problem(where, f'"{key}" is not a known key.{did_you_mean(str(key), known)}')
        case "required":
            for key in expected:
                if key not in found:
                    yield Problem(where, f'the key "{key}" is missing. Add it.')
        case "type":
            expected = " or ".join([expected] if isinstance(expected, str) else expected)
            yield Problem(where, f"expected {_kind(expected)}, found {_kind_of(found)}. Correct the value.")
        case "enum" if "propertyNames" in error.absolute_schema_path:
            yield Problem(where, f'"{found}" is not a table.{did_you_mean(str(found), expected)}')
        case "enum":
            yield Problem(where, f'"{found}" is none of {", ".join(expected)}.{did_you_mean(str(found), expected)}')
        case "pattern" if "data_until" in error.absolute_path:
            yield Problem(where, f'"{found}" is no month: write the year and the month, such as 2025-06.')
        case "pattern" if "date" in error.absolute_path:
            yield Problem(where, f'"{found}" is no date: write it such as 2025-03-04.')
        case "pattern":
            yield Problem(where, f'"{found}" is no column name: use small letters, digits and _, a letter first.')
        case "minimum":
            yield Problem(where, f"{found} is below {expected}. Correct the value.")
        case "exclusiveMinimum":
            yield Problem(where, f"{found} is not above {expected}. Correct the value.")
        case "maximum" | "exclusiveMaximum":
            yield Problem(where, f"{found} is too large; the limit is {expected}. Correct the value.")
        case "maxItems" | "maxProperties" if error.schema.get("minItems") != expected:
            yield Problem(where, f"{len(found)} entries; at most {expected} are taken. Shorten the list.")
        case "minItems" | "maxItems" if expected > 1:
            yield Problem(where, f"{len(found)} entries, where {expected} are needed. Correct the list.")
        case "minItems" | "minLength":
            yield Problem(where, "is empty. Fill it in or leave the key out.")
        case "uniqueItems":
            yield Problem(where, "an entry stands twice. Remove one.")
        case _:
            yield Problem(where, f"is not as expected ({error.validator}). See schemas/plan.yaml.")


_KINDS = {
    "object": "keys with values",
    "array": "a list",
    "string": "a word or text",
    "number": "a number with a decimal point",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}


def _kind(expected: str) -> str:
    return " or ".join(_KINDS[name] for name in expected.split(" or "))


def _kind_of(value: Any) -> str:
    kinds = {
        bool: "true or false",
        int: "a number",
        float: "a number",
        str: "a text",
        list: "a list",
        dict: "keys",
    }
    return kinds.get(type(value), "nothing")


def with_defaults(value: Any, schema: Mapping[str, Any]) -> Any:
    """The value with every missing key's default."""
    if schema.get("type") != "object" or not isinstance(value, dict):
        return value
    filled = {key: with_defaults(entry, schema.get("properties", {}).get(key, {})) for key, entry in value.items()}
    for key, entry in schema.get("properties", {}).items():
        if key not in filled and "default" in entry:
            filled[key] = with_defaults(entry["default"], entry)
    return filled


def with_stages(filled: dict[str, Any]) -> dict[str, Any]:
    """A plan, its defaults filled in, with the stages of `audit.policy`: where it has none, those for such units."""
    audit = filled["plan"]["audit"]
    entry = plan_schema()["properties"]["plan"]["properties"]["audit"]["properties"]["policy"]["properties"]["stages"]
    stages = audit["policy"]["stages"] or entry["default_by"].get(audit["by"], entry["default_by"]["other"])
    audit = {**audit, "policy": {**audit["policy"], "stages": stages}}
    return {**filled, "plan": {**filled["plan"], "audit": audit}}
