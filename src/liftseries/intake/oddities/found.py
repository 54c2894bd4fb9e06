"""An oddity as `check` tells it: which rule, which row by its key, and where it stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from liftseries.study.oddities import ALL
from liftseries.study.plan_files import PLAN_FILE


@dataclass(frozen=True)
class FoundOddity:
    """One oddity.

    Attributes
    ----------
    rule : a name of schemas/oddities.yaml
    table, file, row, column : as in oddities.csv; `row` is None where no row is meant
    key : what `accepted_oddities` names to accept it
    place : `cases.xlsx, sheet sites, cell C7`
    message : numbers, never a text of a cell
    accepted : the plan accepts it
    """

    rule: str
    table: str
    file: str
    row: int | None
    column: str
    key: str
    place: str
    message: str
    accepted: bool


def with_places(listed: pd.DataFrame, place_of: Callable[[str, int, str], str]) -> list[FoundOddity]:
    """The list of `list_oddities` as objects.

    Parameters
    ----------
    listed
    place_of : place of a cell, by table, place of the row in the checked table, and column
    """
    return [
        FoundOddity(
            rule=one.rule,
            table=one.table,
            file=one.file,
            row=None if one.at < 0 else int(one.row),
            column=one.column,
            key=one.key,
            place=place_of(one.table, one.at, one.column) if one.at >= 0 else _without_row(one),
            message=one.message,
            accepted=bool(one.accepted),
        )
        for one in listed.rename(columns={"index": "at"}).itertuples(index=False)
    ]


def keys_without_an_oddity(found: list[FoundOddity], accepted: Mapping[str, frozenset[str]]) -> dict[str, int]:
    """Rule -> how many of the keys that the plan accepts (`accepted_keys`) fit no oddity any more; 0 are left out."""
    left: dict[str, int] = {}
    for rule, keys in accepted.items():
        met = [oddity.key for oddity in found if oddity.rule == rule and oddity.accepted]
        unmet = [key for key in keys - {ALL, *met} if not any(one.startswith(f"{key} ") for one in met)]
        left |= {rule: len(unmet)} if unmet else {}
    return left


def _without_row(one) -> str:
    return f"{one.file}, {one.column}" if one.table else f"{PLAN_FILE}, study, {one.column}"
