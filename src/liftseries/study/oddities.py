"""What is possible but odd: the rules of schemas/oddities.yaml, and those that study.yaml accepts.

The arithmetic lies in `intake/oddities/`; names, thresholds and reasons stand here for check, plan and report alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from liftseries.base.errors import Problem, did_you_mean
from liftseries.base.home import folder
from liftseries.base.plain_yaml import load_shipped_yaml
from liftseries.study.plan_files import PLAN_FILE

SECTION = "accepted_oddities"
ALL = "*all*"  # no key: `keys: all` of study.yaml, while `keys: [all]` names one
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class OddityRule:
    """One rule; see schemas/oddities.yaml for what each key means."""

    name: str
    table: str
    column: str
    threshold: str  # in words, limits filled in
    reason: str
    says: str  # with holes
    where: str = ""
    key: str = ""
    limits: Mapping[str, float] = field(default_factory=dict)
    source: str = NO_SOURCE

    @property
    def title(self) -> str:
        """`torque high`."""
        return self.name.replace("_", " ")


@cache
def _written() -> dict[str, Any]:
    return load_shipped_yaml((folder("schemas") / "oddities.yaml").read_text(encoding="utf-8"))


@cache
def oddity_rules() -> dict[str, OddityRule]:
    """Name -> rule, in the order in which they are listed."""
    return {
        name: OddityRule(name, **{**entry, "threshold": entry["threshold"].format(**entry.get("limits", {}))})
        for name, entry in _written()["oddities"].items()
    }


def measured_columns() -> dict[str, tuple[str, ...]]:
    """Table -> the columns whose numbers are read off a patient or an image."""
    return {table: tuple(columns) for table, columns in _written()["measured"].items()}


def accepted_keys(accepted: Iterable[Mapping[str, Any]]) -> dict[str, frozenset[str]]:
    """Rule -> the keys that `accepted_oddities` names, as texts; rules that are accepted as a whole hold `ALL`."""
    keys: dict[str, frozenset[str]] = {}
    for entry in accepted:
        named = {ALL} if entry["keys"] == "all" else set(map(str, entry["keys"]))
        keys[entry["rule"]] = keys.get(entry["rule"], frozenset()) | named
    return keys


def accepted_problems(accepted: Iterable[Mapping[str, Any]]) -> Iterator[Problem]:
    """Rules that are accepted and that are none, and keys that are neither a list nor `all`."""
    for number, entry in enumerate(accepted, start=1):
        where = f"{PLAN_FILE}, {SECTION}, entry {number}"
        if (name := entry["rule"]) not in oddity_rules():
            message = f'"{name}" is no rule of an oddity.{did_you_mean(name, oddity_rules())}'
            yield Problem(f"{where}, rule", message)
        if isinstance(entry["keys"], str) and entry["keys"] != "all":
            yield Problem(f"{where}, keys", "is neither a list of keys nor `all`. Write `keys: [...]`.")
