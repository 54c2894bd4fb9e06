"""The content of study.yaml: what its shape cannot say, such as terms that are no columns or cuts that do not rise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from liftseries.base.errors import Problem, did_you_mean
from liftseries.study.file_readings import file_reading_problems
from liftseries.study.indicators import indicator_problems, own_indicator_problems, with_own, written_indicators
from liftseries.study.oddities import accepted_problems
from liftseries.study.plan_files import PLAN_FILE, labels_read, path_problems
from liftseries.study.schema import Table, audit_schema, derived_schema, derived_terms, read_schema

LATER_PURPOSES: tuple[str, ...] = ()


def content_problems(
    filled: dict[str, Any], study: Path, own_reading: Mapping[str, Mapping] = MappingProxyType({})
) -> Iterator[Problem]:
    """What is wrong with a study.yaml of the right shape, its defaults filled in.

    Parameters
    ----------
    filled, study : what it says, and its folder
    own_reading : what `files` says of each file, see `own_readings`
    """
    for purpose in filled["purpose"]:
        if purpose in LATER_PURPOSES:
            message = f'the {purpose} report is not there yet; "publication" is. Write `purpose: publication`.'
            yield Problem(f"{PLAN_FILE}, purpose", message)
    plan = filled["plan"]
    for key in ("rbh_bands_mm", "lift_bands_mm", "survival_months"):
        if any(later <= earlier for earlier, later in zip(plan[key], plan[key][1:], strict=False)):
            yield Problem(f"{PLAN_FILE}, plan, {key}", "the numbers do not rise. Put them in order, each once.")
    yield from _stage_problems(plan["audit"]["policy"]["stages"])
    yield from accepted_problems(filled["accepted_oddities"])
    yield from path_problems(filled, study)
    own = list(_own_column_problems(filled["extra_columns"]))
    yield from own
    if not own:
        schema = read_schema(filled["extra_columns"])
        yield from _term_problems(plan, schema)
        yield from _purpose_problems(filled, schema)
        labels = labels_read(filled, study)
        yield from file_reading_problems(filled, own_reading, labels, {**schema, **audit_schema()})


def _own_column_problems(extra_columns: Mapping[str, Mapping]) -> Iterator[Problem]:
    known = read_schema()
    # What is worked out joins the same table of cases, a band or a gain as well as a depth.
    taken = {column for table in (*known.values(), *derived_schema().values()) for column in table.columns}
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


def _purpose_problems(filled: Mapping[str, Any], schema: Mapping[str, Table]) -> Iterator[Problem]:
    """Columns that a comparison or an audit names and that are not there; asked only where the plan wants one."""
    plan, terms = filled["plan"], model_columns(schema)
    bands = list(derived_schema()["bands"].columns)
    asked = {
        "comparison": (("groups", [plan["comparison"]["groups"]]), ("adjust_for", plan["comparison"]["adjust_for"])),
        "audit": (("by", [plan["audit"]["by"]]), ("case_mix", plan["audit"]["case_mix"])),
    }
    for purpose in filled["purpose"]:
        for key, names in asked.get(purpose, ()):
            known = [*terms, *bands] if key in ("groups", "by") else terms
            for name in names:
                if name not in known:
                    message = f'"{name}" is no column that can stand here.{did_you_mean(name, known)}'
                    yield Problem(f"{PLAN_FILE}, plan, {purpose}, {key}", message)
    if "audit" in filled["purpose"]:
        yield from _indicator_problems(plan["audit"], filled["extra_columns"])


def _indicator_problems(audit: Mapping[str, Any], extra_columns: Mapping[str, Mapping]) -> Iterator[Problem]:
    """Definitions of indicators that are wrong, and names that the plan asks for and that are none."""
    yield from indicator_problems(written_indicators(), extra_columns)
    own = audit["own_indicators"]
    if wrong := list(own_indicator_problems(own, extra_columns)):
        yield from wrong
        return
    known = list(with_own(own)["indicators"])
    for name in audit["indicators"]:
        if name not in known:
            message = f'"{name}" is no indicator.{did_you_mean(name, known)}'
            yield Problem(f"{PLAN_FILE}, plan, audit, indicators", message)


def _stage_problems(stages: list[Mapping[str, Any]]) -> Iterator[Problem]:
    names = [stage["name"].strip().casefold() for stage in stages]
    for number, name in enumerate(names):
        if name in names[:number]:
            message = f"the name is that of entry {names.index(name) + 1} too. Give each stage its own."
            yield Problem(f"{PLAN_FILE}, plan, audit, policy, stages, entry {number + 1}, name", message)
