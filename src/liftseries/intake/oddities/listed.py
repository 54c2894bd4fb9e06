"""The list of oddities: every rule asked, its rows with their keys, messages and whether the plan accepts them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from liftseries.base.numbers import plain
from liftseries.intake.oddities.case_numbers import case_number_twice, case_numbers_out_of_order
from liftseries.intake.oddities.centres import (
    centre_gives_torque_of_staged,
    centre_without_a_tear,
    heights_end_in_0_or_5,
    lowest_is_highest,
    staged_with_torque,
)
from liftseries.intake.oddities.copies import column_of_one_value, sites_equal, visits_equal
from liftseries.intake.oddities.joined import Joined, join, rows_told
from liftseries.intake.oddities.labels import centres_alike, operators_alike
from liftseries.intake.oddities.sites import (
    more_than_one_implant,
    neighbouring_molars_differ,
    patient_in_two_centres,
    tear_while_drilling_never_open,
    tooth_twice_in_a_patient,
)
from liftseries.intake.oddities.visits import marginal_bone_better, months_typed_in_years
from liftseries.intake.oddities.within_rows import odd_rows
from liftseries.study.oddities import ALL, OddityRule, accepted_keys, oddity_rules
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.schema import TABLES, read_schema

COLUMNS = ("table", "file", "row", "column", "rule", "message", "accepted")  # of oddities.csv, as in the contract
IN_HOUSE = ("key", "site_id", "index")  # what the key and the site of the row are; its place in the checked table
DIGITS = 3  # of a number in a message


def closing_not_set(joined: Joined) -> pd.DataFrame:
    """One where study.yaml does not say when the data were closed."""
    return rows_told([-1] if np.isnan(joined.closed) else [])


# Rules that take more than one row; the others are expressions in schemas/oddities.yaml.
FINDERS: Mapping[str, Callable[..., pd.DataFrame]] = {
    finder.__name__: finder
    for finder in (
        tear_while_drilling_never_open,
        centre_without_a_tear,
        tooth_twice_in_a_patient,
        neighbouring_molars_differ,
        more_than_one_implant,
        staged_with_torque,
        centre_gives_torque_of_staged,
        months_typed_in_years,
        marginal_bone_better,
        closing_not_set,
        centres_alike,
        operators_alike,
        patient_in_two_centres,
        case_number_twice,
        case_numbers_out_of_order,
        sites_equal,
        visits_equal,
        column_of_one_value,
        heights_end_in_0_or_5,
        lowest_is_highest,
    )
}


def list_oddities(
    tables: Mapping[str, pd.DataFrame],
    places: Mapping[str, pd.DataFrame],
    data_until: str,
    lift_base_radius_mm: float,
    accepted: Sequence[Mapping[str, Any]] = (),
) -> pd.DataFrame:
    """Every oddity of the checked tables.

    Parameters
    ----------
    tables : all six, empty where the study has none
    places : table -> `file, row` of each of its rows
    data_until, lift_base_radius_mm : as the plan has them
    accepted : `accepted_oddities` of the plan

    Returns
    -------
    `COLUMNS` and `IN_HOUSE`; in the order of the rules, then of the rows as they stand in the files. Where no row is
    meant, `row` is missing and `index` is -1.
    """
    files = {name: places[name]["file"].to_numpy(object) for name in tables}
    joined = join(tables, files, data_until, lift_base_radius_mm)
    keys = accepted_keys(accepted)
    told = [(rule, _told(rule, joined)) for rule in oddity_rules().values()]
    found = [_listed(rule, rows, joined, places, keys) for rule, rows in told if len(rows)]
    listed = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=[*COLUMNS, *IN_HOUSE])
    return listed.astype({"row": "Int64", "accepted": bool, "index": int})


def _told(rule: OddityRule, joined: Joined) -> pd.DataFrame:
    return odd_rows(rule, joined) if rule.where else FINDERS[rule.name](joined, **rule.limits)


def _listed(
    rule: OddityRule,
    told: pd.DataFrame,
    joined: Joined,
    places: Mapping[str, pd.DataFrame],
    accepted: Mapping[str, frozenset[str]],
) -> pd.DataFrame:
    told = told.sort_index(kind="stable")
    listed = pd.DataFrame({"table": rule.table, "column": rule.column, "rule": rule.name, "index": told.index})
    for name in ("table", "column"):
        listed[name] = told[name].to_numpy(object) if name in told else listed[name].astype(object)
    if rule.table:
        rows = joined.tables[rule.table].loc[told.index]
        place = places[rule.table].iloc[told.index]
        listed = listed.assign(file=place["file"].to_numpy(object), row=place["row"].to_numpy())
        listed["site_id"] = rows["site_id"].to_numpy(object) if "site_id" in rows and not rule.key else None
        keys = [rows[rule.key]] if rule.key else [rows[name] for name in read_schema()[rule.table].key]
    else:
        rows = told
        of_files = {name: ", ".join(dict.fromkeys(places[name]["file"])) for name in TABLES if name in places}
        listed = listed.assign(file=listed["table"].map(of_files).fillna(PLAN_FILE), row=pd.NA, site_id=None)
        keys = [listed["column"]]
    listed["message"] = _messages(rule, rows, told)
    listed["key"] = [" ".join(map(_text, parts)) for parts in zip(*keys, strict=True)]
    named = accepted.get(rule.name, frozenset())
    # A visit may be accepted by its site alone, with all of its visits.
    by_key = listed["key"].isin(named) | np.isin([*map(_text, keys[0])], [*named])
    listed["accepted"] = by_key | (ALL in named)
    return listed[[*COLUMNS, *IN_HOUSE]]


def _messages(rule: OddityRule, rows: pd.DataFrame, told: pd.DataFrame) -> list[str]:
    """Each row's: holes are limits, numbers that the rule gave, and numbers of the row."""
    limits = {name: _text(value) for name, value in rule.limits.items()}
    numbers = pd.concat([rows.select_dtypes("number").drop(columns=list(told), errors="ignore"), told], axis=1)
    held = [name for name in numbers if "{" + str(name) + "}" in rule.says]
    cells = zip(*(numbers[name] for name in held), strict=True) if held else [()] * len(told)
    return [f"{rule.says.format(**limits, **dict(zip(held, map(_text, row), strict=True)))}." for row in cells]


def _text(value: object) -> str:
    """A number as people write it; a text as it is."""
    return str(value) if isinstance(value, str) else plain(round(float(value), DIGITS))
