"""The plan: study.yaml read, checked against schemas/plan.yaml, defaults filled in.

A wrong plan stops here with all its problems; an unknown key is told the nearest known one.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any

from liftseries.base.errors import Problem, StudyError, did_you_mean
from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_yaml
from liftseries.study.reading import Reading, reading_of, reading_problems, words_as_text
from liftseries.study.schema import Table, derived_terms, read_schema

PLAN_FILE = "study.yaml"
CORRECTIONS_FILE = "corrections.csv"  # beside study.yaml, which need not name it
READ_FROM = "LIFTSERIES_READ_FROM"  # in the environment: folders that the command line named with --read-from
SECTIONS = ("study", "plan", "extra_columns", "reading", "sharing")
LATER_PURPOSES = ("comparison", "audit")


@dataclass(frozen=True)
class Source:
    """One file of one table, as study.yaml names it."""

    label: str  # as written: `north.csv`, `cases.xlsx#sites`
    path: Path
    sheet: str | None


@dataclass(frozen=True)
class Plan:
    """study.yaml, typed. Units stand in the names; see schemas/plan.yaml for what each key means."""

    folder: Path
    study_id: str
    title: str
    question: str
    purpose: tuple[str, ...]
    tables: Mapping[str, tuple[Source, ...]]
    first_depth_margin_mm: Mapping[str, float]
    step_mm: float
    depth_tolerance_mm: float
    speed_limit_rpm: float
    lift_base_radius_mm: float
    rbh_bands_mm: tuple[float, ...]
    lift_bands_mm: tuple[float, ...]
    survival_months: tuple[float, ...]
    perforation_terms: tuple[str, ...]
    survival_terms: tuple[str, ...]
    gain_terms: tuple[str, ...]
    landmark_months: float
    risk_contrasts: Mapping[str, list[Any]]
    imputation: Mapping[str, Any]
    comparison: Mapping[str, Any]
    audit: Mapping[str, Any]
    resamples: int
    seed: int
    extra_columns: Mapping[str, Mapping[str, Mapping]]
    reading: Reading
    invalid_rows: str
    smallest_cell: int
    output: Path
    as_written: Mapping[str, Any]  # with every default filled in, for the manifest

    @property
    def schema(self) -> dict[str, Table]:
        """The tables with the study's own columns."""
        return read_schema(self.extra_columns)

    def has(self, table: str) -> bool:
        """Whether study.yaml names any file for the table."""
        return table in self.tables

    def files(self, *tables: str) -> list[Path]:
        """The files that are there, of the named tables or of all, and the corrections; intake tells of the others."""
        named = tables or tuple(self.tables)
        paths = [source.path for table in named for source in self.tables.get(table, ())]
        return [path for path in dict.fromkeys([*paths, self.folder / CORRECTIONS_FILE]) if path.is_file()]


@cache
def plan_schema() -> dict[str, Any]:
    """schemas/plan.yaml, a JSON Schema."""
    return load_yaml((folder("schemas") / "plan.yaml").read_text(encoding="utf-8"))


def read_plan(study: Path | str) -> Plan:
    """The plan of a study folder, or of the study.yaml itself.

    Raises
    ------
    StudyError
        With every problem of the file.
    """
    path = Path(study)
    path = (path / PLAN_FILE if path.is_dir() else path).absolute()
    written = _normalised(_load(path))
    problems = list(_shape_problems(written))
    if problems:
        raise StudyError(problems)
    filled = _filled(written, plan_schema())
    problems = list(_content_problems(filled, path.parent))
    if problems:
        raise StudyError(problems)
    return _plan(filled, path.parent)


def _load(path: Path) -> dict[str, Any]:
    import yaml

    name = path.name
    if not path.is_file():
        raise StudyError([Problem(name, "there is no such file. Start one with `liftseries new`.")])
    try:
        written = load_yaml(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        message = f"byte {error.start + 1} is not UTF-8. Save the file as UTF-8."
        raise StudyError([Problem(name, message)]) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"{name}, line {mark.line + 1}" if mark else name
        raise StudyError([Problem(place, f"not YAML: {error.problem}. Mend the line.")]) from None
    except (yaml.YAMLError, ValueError, RecursionError):
        raise StudyError([Problem(name, "not YAML. Write it as plain UTF-8 text.")]) from None
    if not isinstance(written, dict):
        raise StudyError([Problem(name, "holds no keys; `tables` at least is needed.")])
    return written


def _normalised(written: dict[str, Any]) -> dict[str, Any]:
    """One word where a list may stand becomes a list of one; an empty section becomes an empty mapping."""
    written = {key: {} if value is None and key in SECTIONS else value for key, value in written.items()}
    if isinstance(written.get("purpose"), str):
        written["purpose"] = [written["purpose"]]
    if isinstance(written.get("tables"), dict):
        written["tables"] = {
            table: [files] if isinstance(files, str) else files for table, files in written["tables"].items()
        }
    if isinstance(written.get("reading"), dict):
        written["reading"] = words_as_text(written["reading"])
    return written


# ── the shape: keys and types ─────────────────────────────────────────────────────────────────────────────────


def _shape_problems(written: dict[str, Any]) -> Iterator[Problem]:
    from jsonschema import Draft202012Validator

    validator = Draft202012Validator(plan_schema())
    for error in sorted(validator.iter_errors(written), key=lambda error: [str(key) for key in error.absolute_path]):
        yield from _told(error)


def _told(error) -> Iterator[Problem]:
    where = ", ".join([PLAN_FILE, *(str(key) for key in error.absolute_path)])
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
        case "pattern":
            yield Problem(where, f'"{found}" is no column name: use small letters, digits and _, a letter first.')
        case "minimum":
            yield Problem(where, f"{found} is below {expected}. Correct the value.")
        case "exclusiveMinimum":
            yield Problem(where, f"{found} is not above {expected}. Correct the value.")
        case "maximum" | "exclusiveMaximum":
            yield Problem(where, f"{found} is too large; the limit is {expected}. Correct the value.")
        case "minItems" | "maxItems" if expected > 1 or error.validator == "maxItems":
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


def _filled(value: Any, schema: Mapping[str, Any]) -> Any:
    """The value with every missing key's default."""
    if schema.get("type") != "object" or not isinstance(value, dict):
        return value
    filled = {key: _filled(entry, schema.get("properties", {}).get(key, {})) for key, entry in value.items()}
    for key, entry in schema.get("properties", {}).items():
        if key not in filled and "default" in entry:
            filled[key] = _filled(entry["default"], entry)
    return filled


# ── the content: what the shape can't say ─────────────────────────────────────────────────────────────────────


def _content_problems(filled: dict[str, Any], study: Path) -> Iterator[Problem]:
    for purpose in filled["purpose"]:
        if purpose in LATER_PURPOSES:
            message = f'the {purpose} report is not there yet; "publication" is. Write `purpose: publication`.'
            yield Problem(f"{PLAN_FILE}, purpose", message)
    plan = filled["plan"]
    for key in ("rbh_bands_mm", "lift_bands_mm", "survival_months"):
        if any(later <= earlier for earlier, later in zip(plan[key], plan[key][1:], strict=False)):
            yield Problem(f"{PLAN_FILE}, plan, {key}", "the numbers do not rise. Put them in order, each once.")
    yield from _path_problems(filled, study)
    own = list(_own_column_problems(filled["extra_columns"]))
    yield from own
    if not own:
        schema = read_schema(filled["extra_columns"])
        yield from _term_problems(plan, schema)
        for where, message in reading_problems(filled["reading"], schema):
            yield Problem(f"{PLAN_FILE}, reading, {where}", message)


def folders_to_read() -> list[Path]:
    """Folders outside the study's own that tables may lie in, because the user named them on the command line."""
    return [Path(path).resolve() for path in os.environ.get(READ_FROM, "").split(os.pathsep) if path]


def _path_problems(filled: dict[str, Any], study: Path) -> Iterator[Problem]:
    own = study.resolve()
    named = [
        (f"tables, {table}", label.split("#")[0]) for table, labels in filled["tables"].items() for label in labels
    ]
    if any(brace in str(study) for brace in "{}"):
        yield Problem(PLAN_FILE, "the path of its folder holds { or }, which Snakemake can't take. Rename the folder.")
    for where, path in [*named, ("output", filled["output"])]:
        if any(brace in path for brace in "{}"):
            yield Problem(
                f"{PLAN_FILE}, {where}", "the path holds { or }, which Snakemake can't take. Rename the file."
            )
        elsewhere = [] if where == "output" else folders_to_read()
        if not any((study / path).resolve().is_relative_to(allowed) for allowed in (own, *elsewhere)):
            message = "the path leaves the study folder. Keep the file inside it"
            message += "." if where == "output" else ", or name its folder on the command line with --read-from."
            yield Problem(f"{PLAN_FILE}, {where}", message)
    for where, path in named:
        if (study / path).resolve() == (study / CORRECTIONS_FILE).resolve():
            message = f"{CORRECTIONS_FILE} is where liftseries keeps corrections. Give the table's file another name."
            yield Problem(f"{PLAN_FILE}, {where}", message)
    output = (study / filled["output"]).resolve()
    inputs = [(study / path).resolve() for _, path in named]
    if output == own or any(path.is_relative_to(output) for path in inputs):
        message = "the folder holds the study's own files, which a run must not overwrite. Name another folder."
        yield Problem(f"{PLAN_FILE}, output", message)


def _own_column_problems(extra_columns: Mapping[str, Mapping]) -> Iterator[Problem]:
    known = read_schema()
    taken = {column for table in known.values() for column in table.columns} | set(derived_terms("sites"))
    for table, columns in extra_columns.items():
        for name, entry in columns.items():
            where = f"{PLAN_FILE}, extra_columns, {table}, {name}"
            if name in taken:
                yield Problem(where, "the contract has a column of that name. Choose another.")
            if entry["type"] == "category" and not entry.get("levels"):
                yield Problem(where, "a category needs its levels. Add `levels: [...]`, the reference first.")


def model_columns(schema: Mapping[str, Table], with_visits: bool = False) -> list[str]:
    """Columns that may be a model's terms: of patients, sites and what is worked out of them, not the keys."""
    names = []
    for name in ("patients", "sites", *(("visits",) if with_visits else ())):
        table = schema[name]
        names += [column for column in table.columns if column not in (*table.key, *table.references)]
    names += derived_terms("visits") if with_visits else []
    return [*derived_terms("sites"), *names]


def _term_problems(plan: Mapping[str, Any], schema: Mapping[str, Table]) -> Iterator[Problem]:
    for key, outcome, with_visits in (
        ("perforation_terms", "perforation", False),
        ("survival_terms", "", False),
        ("gain_terms", "", True),
    ):
        known = [name for name in model_columns(schema, with_visits) if name != outcome]
        for term in plan[key]:
            if term not in known:
                message = f'"{term}" is no column that can be a term.{did_you_mean(term, known)}'
                yield Problem(f"{PLAN_FILE}, plan, {key}", message)
    known = model_columns(schema)
    for key, named in (
        ("imputation, auxiliary", plan["imputation"]["auxiliary"]),
        ("risk_contrasts", plan["risk_contrasts"]),
    ):
        for column in named:
            if column not in known:
                message = f'"{column}" is no column that can stand here.{did_you_mean(column, known)}'
                yield Problem(f"{PLAN_FILE}, plan, {key}", message)


def _plan(filled: dict[str, Any], study: Path) -> Plan:
    plan, own = filled["plan"], filled["study"]
    numbers = {key: float(plan[key]) for key in (
        "step_mm", "depth_tolerance_mm", "speed_limit_rpm", "lift_base_radius_mm", "landmark_months",
    )}  # fmt: skip
    lists = {
        key: tuple(float(value) for value in plan[key]) for key in ("rbh_bands_mm", "lift_bands_mm", "survival_months")
    }
    terms = {key: tuple(plan[key]) for key in ("perforation_terms", "survival_terms", "gain_terms")}
    return Plan(
        folder=study,
        study_id=own["id"],
        title=own["title"],
        question=own["question"],
        purpose=tuple(filled["purpose"]),
        tables={table: tuple(_source(label, study) for label in labels) for table, labels in filled["tables"].items()},
        first_depth_margin_mm={key: float(value) for key, value in plan["first_depth_margin_mm"].items()},
        **numbers,
        **lists,
        **terms,
        risk_contrasts=plan["risk_contrasts"],
        imputation=plan["imputation"],
        comparison=plan["comparison"],
        audit=plan["audit"],
        resamples=plan["resamples"],
        seed=plan["seed"],
        extra_columns=filled["extra_columns"],
        reading=reading_of(filled["reading"]),
        invalid_rows=filled["invalid_rows"],
        smallest_cell=filled["sharing"]["smallest_cell"],
        output=study / filled["output"],
        as_written=filled,
    )


def _source(label: str, study: Path) -> Source:
    name, _, sheet = label.partition("#")
    return Source(label=label, path=study / PurePosixPath(name.replace("\\", "/")), sheet=sheet or None)


def file_of(label: str) -> str:
    """`cases.xlsx` of `cases.xlsx#sites`."""
    return label.partition("#")[0]
