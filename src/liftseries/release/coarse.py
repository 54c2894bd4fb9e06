"""Shares and survival told roundly, without their counts, where these must be withheld.

*Situation:* that 2 failed between month 12 and 36 is told by the numbers failed by each, so one of them goes, and with
it went all estimates of that month; a count that goes for the sake of others took its share along. *Choice:* they are
told as multiples of 1, 2 or 5 per cent, months in function as whole months, the finest of which the attack, with all
that these leave of the counts, recovers nothing. *Rival:* to withhold them. *Consequence:* the dearest leave first; no
design effect of theirs, which has more digits.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from liftseries.disclosure.coarser import Telling
from liftseries.disclosure.declared import Behind
from liftseries.disclosure.parts import Together
from liftseries.release.check import in_counts, known_of, told_roundly
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked, masked_material, tables_of

SHARE, MONTHS = "share", "months"
IN_TURN = (SHARE, "survival", "failed", MONTHS)  # what estimates say, the dearest first
UNITS = (0.01, 0.02, 0.05)  # of which shares are told as multiples
NEAR = 1e-6
NUMBERS = ("estimate", "survival", "conf_low", "conf_high")
Coarse = Mapping[Place, float]
Tables = Mapping[str, pd.DataFrame]


def with_coarse(masked: Masked, smallest_cell: int) -> Masked:
    """The same, and shares and estimates by month told roundly as far as no count of few patients can be told."""
    places = _withheld(masked, smallest_cell)
    if not places:
        return masked
    known = known_of(masked, smallest_cell)
    telling = Telling(known.counts, masked.ledger.patients, known.values, known.needed)
    rounded = {unit: tables_of(_told(masked, dict.fromkeys(places, unit), smallest_cell).material) for unit in UNITS}
    told: dict[Place, float] = {}
    for says in IN_TURN:
        for unit in UNITS if says != MONTHS else UNITS[:1]:
            asked = {
                place: unit
                for place, of in places.items()
                if of == says and place not in told and _is_told(rounded[unit], place, masked)
            }
            tables = {name: _shown(name, rounded, places, {**told, **asked}) for name in rounded[unit]}
            for rows, ranges in told_roundly(tables, masked.behind, masked.ledger, {**told, **asked}):
                mine = [place for place in rows if place in asked]
                if mine and _leave_open(ranges, masked, smallest_cell):
                    told |= dict.fromkeys(mine, unit) if telling.takes(in_counts(known.counts, ranges)) else {}
    return _told(masked, told, smallest_cell)


def _leave_open(found: Sequence[Together], masked: Masked, k: int) -> bool:
    """Whether ranges of failures between two months, where these are of few patients, hold 1 and k - 1.

    What does not hold of the series itself is no range of these counts, and is not told.
    """
    ledger = masked.ledger
    value = [sum(times * ledger.entries[name].value for name, times in one.of.items()) for one in found]
    if not all(one.lowest - NEAR <= n <= one.highest + NEAR for one, n in zip(found, value, strict=True)):
        return False
    for one in (one for one in found if not math.isinf(one.highest)):
        members = [ledger.entries[name].members for name in sorted(one.of, key=lambda name: one.of[name])]
        between = members[-1] & ~members[0] if len(members) > 1 else members[0]
        n = int(between.sum())
        if 1 <= ledger.population.n_patients(between) < k and (one.lowest > 1 or one.highest < max(k - 1, n)):
            return False
    return True


def _withheld(masked: Masked, smallest_cell: int) -> dict[Place, str]:
    """The rows that could be told roundly -> what they say, the headlines first.

    None of few patients, nor of all but few: bounds tell of one with the event, and ranges that hold 1 say little.
    """
    ledger, n_patients = masked.ledger, masked.ledger.population.n_patients
    gone, found = ledger.withheld(masked.protection.withheld), {}
    for name, rows in masked.behind.items():
        headline = masked.whole.table(name).get("headline", pd.Series(True, range(len(rows)))).astype(bool)
        for at, one in enumerate(rows):
            if one is None or not (one.by_month or one.share):
                continue
            if all(ledger.is_told(counted, gone) for counted in one.gives_away):
                continue
            if any(ledger.name_of(counted) is None for counted in one.gives_away):
                continue
            parts = [one.gives_away[-1].members, *_without_event(one)]
            if min(map(n_patients, parts)) >= smallest_cell:
                found[name, at] = one.by_month.says if one.by_month else SHARE, not headline.iloc[at]
    return {place: says for place, (says, _) in sorted(found.items(), key=lambda row: row[1][1])}


def _without_event(behind: Behind) -> list:
    return [behind.gives_away[0].members & ~behind.gives_away[1].members] if behind.share else []


def _told(masked: Masked, coarse: Coarse, smallest_cell: int) -> Masked:
    ledger = replace(masked.ledger, coarse=dict(coarse))
    material, withheld = masked_material(masked.whole, masked.behind, ledger, masked.protection, smallest_cell)
    return replace(masked, material=material, ledger=ledger, withheld=withheld)


def _is_told(tables: Tables, place: Place, masked: Masked) -> bool:
    """Whether a row is printed, as neither none nor all, and its interval holds more than that."""
    table, by_month = tables[place[0]], masked.behind[place[0]][place[1]].by_month
    number = float(table.get("estimate", table.get("survival")).iloc[place[1]])
    low, high = table["conf_low"].iloc[place[1]], table["conf_high"].iloc[place[1]]
    all_of = by_month.month if by_month and by_month.says == MONTHS else 1.0
    return 0 < number < all_of and not (number <= low or number >= high)


def _shown(
    name: str, rounded: Mapping[float, Mapping[str, pd.DataFrame]], places: Collection[Place], told: Coarse
) -> pd.DataFrame:
    """A table with these rows as they are told, and the others that could be told roundly empty."""
    table = rounded[UNITS[0]][name].copy()
    columns = [column for column in NUMBERS if column in table]
    for unit in (None, *UNITS):
        rows = [at for of, at in places if of == name and told.get((of, at)) == unit]
        table.loc[rows, columns] = rounded[unit][name].loc[rows, columns] if unit else float("nan")
    return table
