"""`check --only`: the plan with some of its files alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from liftseries.base.errors import UsageError, did_you_mean
from liftseries.study.plan import Plan
from liftseries.study.plan_files import file_of


def is_named(label: str, only: Sequence[str]) -> bool:
    """Whether the source is one of the files named, or a sheet of one."""
    return label in only or file_of(label) in only


def only_of(plan: Plan, only: Sequence[str]) -> Plan:
    """The plan with the named files alone, and whole tables that none of them holds, for their keys are referred to."""
    labels = [source.label for sources in plan.tables.values() for source in sources]
    for name in only:
        if not any(is_named(label, [name]) for label in labels):
            hint = did_you_mean(name, [*labels, *map(file_of, labels)])
            raise UsageError(f"--only {name}: study.yaml names no such file.{hint}")
    tables = {}
    for table, sources in plan.tables.items():
        named = tuple(source for source in sources if is_named(source.label, only))
        tables[table] = named or sources
    return replace(plan, tables=tables)
