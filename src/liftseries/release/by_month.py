"""What estimates by a month of follow-up tell of the sites failed by then, where no count of them is told.

With F the share failed, n0 at risk at the start and n at the month, D failures by then are within

    n F  ≤  D  ≤  n0 F

so that a few digits leave them open; likewise between two months (`enumeration.failures_within`), and in a life table,
where whoever falls out of a year counts as half at risk. Where death competes, each failure adds at least S / n0, with
S the share neither failed nor dead. The mean months until failure, m of t, say that the share failed is (t - m) / t on
average over those months: less at their start, more at their end.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import pandas as pd

from liftseries.disclosure.declared import Behind
from liftseries.disclosure.enumeration import Range, failures_within, survival_within
from liftseries.disclosure.parts import Together
from liftseries.release.digits import HALF_OF_PLAIN, Grid, half_of_share
from liftseries.release.ledger import Ledger, Place
from liftseries.report.kit.numbers import FEW_SITES

ANY, NONE_YET = (0.0, 1.0), (0.0, 0.0)
NEVER = Together({}, 1.0, math.inf)  # what no series agrees with


@dataclass
class _Month:
    """What is told of a curve at a month: the share failed, that where death competes, the months lost until then."""

    behind: Behind
    failed: Range = ANY
    competing: Range = ANY
    lost: Range | None = None
    places: list[Place] = field(default_factory=list)
    cannot_be: bool = False

    @property
    def at_risk(self) -> int:
        return int(self.behind.by_month.still.sum())

    @property
    def alive(self) -> float:
        """The least share neither failed nor dead."""
        died = self.behind.by_month.died.sum() / max(self.at_risk, 1)
        return max((1 - self.competing[1]) * (1 - died), 0.0)


class Row(NamedTuple):
    """A row as it is printed: who stands behind it, its estimate and interval, its unit where it is told roundly."""

    place: Place
    behind: Behind
    numbers: tuple[float, float, float]
    unit: float = 0.0


def rows_by_month(
    tables: Mapping[str, pd.DataFrame], behind: Mapping[str, Sequence[Behind | None]], coarse: Mapping[Place, Grid]
) -> Iterator[Row]:
    """The rows by month that are told.

    Parameters
    ----------
    tables : as they leave, by name
    behind : who stands behind each of their rows
    coarse : see `Ledger.coarse`
    """
    for name, rows in behind.items():
        printed = tables[name]
        columns = [estimate_of(printed), "conf_low", "conf_high"]
        for at, one in enumerate(rows):
            if one is not None and one.by_month is not None and pd.notna(printed[columns[0]].iloc[at]):
                grid, numbers = coarse.get((name, at)), (float(printed[column].iloc[at]) for column in columns)
                yield Row((name, at), one, tuple(numbers), grid.unit if grid else 0.0)


def estimate_of(table: pd.DataFrame) -> str:
    """The column of a table's estimates."""
    return "estimate" if "estimate" in table else "survival"


def told_by_month(rows: Iterable[Row], ledger: Ledger, smallest_cell: int) -> list[tuple[list[Place], list[Together]]]:
    """What rows tell of the sites failed, month by month of each curve: the coarse rows, and what they and others tell.

    Parameters
    ----------
    rows : all that is told of the curves
    ledger
    smallest_cell : k, of which as many have failed by a month that is told roundly
    """
    curves: dict[tuple, dict[float, _Month]] = defaultdict(dict)
    for row in rows:
        by_month = row.behind.by_month
        month = curves[by_month.curve].setdefault(by_month.month, _Month(row.behind))
        _enter(month, row)
        month.places += [row.place] if row.unit else []
    found = []
    for months in curves.values():
        for places, failed, told in _of_curve([months[m] for m in sorted(months)], ledger):
            found.append((places, [*told, Together({failed: 1.0}, smallest_cell, math.inf)] if failed else told))
    return found


def _enter(month: _Month, row: Row) -> None:
    """Takes what a row prints into what is known of its month."""
    behind, numbers, unit = row.behind, row.numbers, row.unit
    says, has_interval = behind.by_month.says, not (unit or math.isnan(numbers[1]) or math.isnan(numbers[2]))
    if says == "months":
        half = unit / 2 or HALF_OF_PLAIN
        lost, *ends = (behind.by_month.month - number for number in numbers)
        of = (lost - half, lost + half)
        if has_interval and min(ends) > half:  # symmetric on the log of the months lost
            low, high = (math.sqrt((ends[0] + by) * (ends[1] + by)) for by in (-half, half))
            of = _both(of, (low, high))
        month.lost = _both(of, month.lost or of)
        return
    few = behind.by_month.followed.sum() < FEW_SITES
    halves = [unit / 2 or half_of_share(number, few) for number in numbers]
    shares = [(number - half, number + half) for number, half in zip(numbers, halves, strict=True)]
    if says == "failed":
        shares = [(1 - high, 1 - low) for low, high in shares]
    survival = _both(shares[0], survival_within(*shares)) if has_interval else shares[0]
    failed = max(1 - survival[1], 0.0), min(1 - survival[0], 1.0)
    if says == "failed":
        month.competing = _both(failed, month.competing)
    else:
        month.failed = _both(failed, month.failed)


def _both(one: Range, other: Range) -> Range:
    """What agrees with both; with neither more than the other where they contradict each other, as bounds do."""
    found = max(one[0], other[0]), min(one[1], other[1])
    return found if found[0] <= found[1] else one


def _of_curve(months: list[_Month], ledger: Ledger) -> Iterator[tuple[list[Place], str | None, list[Together]]]:
    """Each month that is told coarsely, those failed, and what is known of it and of the failures before and after."""
    for before, month in zip([None, *months[:-1]], months, strict=True):
        _take_means(before, month)
    for at, month in enumerate(months):
        if month.places:
            pairs = [(None, month), *zip(months[max(at - 1, 0) : at + 1], months[max(at, 1) : at + 2], strict=False)]
            failed = ledger.name_of(month.behind.gives_away[0])
            told = [one for pair in pairs for one in _failures(*pair, ledger)]
            yield month.places, failed, [*told, *([NEVER] if month.cannot_be else [])]


def _take_means(before: _Month | None, month: _Month) -> None:
    """The share failed is, on average between two months, the months lost between them a month."""
    if month.lost is None:
        return
    low, high, span = *month.lost, month.behind.by_month.month
    if before is not None and before.lost is not None:
        low, high, span = low - before.lost[1], high - before.lost[0], span - before.behind.by_month.month
        month.cannot_be |= high / span < before.failed[0]
        before.failed = _both(before.failed, (0.0, high / span))
    month.cannot_be |= low / span > month.failed[1]
    month.failed = _both(month.failed, (low / span, 1.0))


def _failures(before: _Month | None, month: _Month, ledger: Ledger) -> Iterator[Together]:
    """How many failed between two months, or by the first one."""
    at_risk = (int(month.behind.by_month.followed.sum()) if before is None else before.at_risk), month.at_risk
    failed, competing = (NONE_YET, NONE_YET) if before is None else (before.failed, before.competing)
    low, high = failures_within(_rest(failed), _rest(month.failed), at_risk)
    if month.competing != ANY:
        low = max(low, math.ceil(at_risk[1] * (month.competing[0] - competing[1]) - 1e-9))
        if month.alive > 0:
            high = min(high, math.floor((month.competing[1] - competing[0]) * at_risk[0] / month.alive + 1e-9))
    names = [ledger.name_of(one.behind.gives_away[0]) for one in (before, month) if one is not None]
    if None not in names:
        # Where nobody failed between them it is one count, less itself.
        times = {names[0]: -1.0} if before is not None else {}
        yield Together(times | {names[-1]: times.get(names[-1], 0.0) + 1.0}, low, high)


def _rest(failed: Range) -> Range:
    return 1 - failed[1], 1 - failed[0]
