"""What estimates by a month of follow-up tell of the sites failed by then, where no count of them is told.

With F the share failed, n0 at risk at the start and n at the month, D failures by then are within

    n F  ≤  D  ≤  ln(1 - F) / ln(1 - 1 / n0)

so that a few digits leave them open; likewise between two months (`enumeration.failures_within`). Where death
competes, each failure adds at least S / n0, with S the share neither failed nor dead. The mean months until failure,
m of t, say that the share failed is (t - m) / t on average over those months: less at their start, more at their end.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from liftseries.disclosure.declared import Behind
from liftseries.disclosure.enumeration import Range, failures_within, survival_within
from liftseries.disclosure.parts import Together
from liftseries.release.digits import HALF_MONTH, HALF_OF_PLAIN, half_of_share
from liftseries.release.ledger import Ledger, Place
from liftseries.report.kit.numbers import FEW_SITES

ANY, NONE_YET = (0.0, 1.0), (0.0, 0.0)
Rows = Mapping[str, Sequence[Behind | None]]


@dataclass
class _Month:
    """What is told of a curve at a month: the share failed, that where death competes, the months lost until then."""

    behind: Behind
    failed: Range = ANY
    competing: Range = ANY
    lost: Range | None = None
    places: list[Place] = field(default_factory=list)

    @property
    def at_risk(self) -> int:
        return int(self.behind.by_month.still.sum())

    @property
    def alive(self) -> float:
        """The least share neither failed nor dead."""
        died = self.behind.by_month.died.sum() / max(self.at_risk, 1)
        return max((1 - self.competing[1]) * (1 - died), 0.0)


def told_by_month(
    tables: Mapping[str, pd.DataFrame], behind: Rows, ledger: Ledger, coarse: Mapping[Place, float], smallest_cell: int
) -> list[tuple[list[Place], list[Together]]]:
    """What rows tell of the sites failed, month by month of each curve: the coarse rows, and what they and others tell.

    Parameters
    ----------
    tables : as they leave, by name
    behind : who stands behind each of their rows
    ledger
    coarse : row in a few digits, for the counts that it gives away are not told -> see `Ledger.coarse`
    smallest_cell : k, of which as many have failed by a month that is told roundly
    """
    curves: dict[bytes, dict[float, _Month]] = defaultdict(dict)
    for name, rows in behind.items():
        printed = tables[name]
        estimates = printed.get("estimate", printed.get("survival"))
        for at, one in enumerate(rows):
            if one is None or one.by_month is None or pd.isna(estimates.iloc[at]):
                continue
            month = curves[one.by_month.followed.tobytes()].setdefault(one.by_month.month, _Month(one))
            numbers = [float(number) for number in (estimates.iloc[at], *_interval(printed, at))]
            _enter(month, one, numbers, coarse.get((name, at), 0.0))
            month.places += [(name, at)] if (name, at) in coarse else []
    found = []
    for months in curves.values():
        for places, told in _of_curve([months[m] for m in sorted(months)], ledger):
            failed = ledger.name_of(behind[places[0][0]][places[0][1]].gives_away[0])
            found.append((places, [*told, Together({failed: 1.0}, smallest_cell, math.inf)] if failed else told))
    return found


def _interval(printed: pd.DataFrame, at: int) -> tuple[float, float]:
    return printed["conf_low"].iloc[at], printed["conf_high"].iloc[at]


def _enter(month: _Month, behind: Behind, numbers: list[float], unit: float) -> None:
    """Takes what a row prints into what is known of its month."""
    says, has_interval = behind.by_month.says, not (unit or math.isnan(numbers[1]) or math.isnan(numbers[2]))
    if says == "months":
        half = HALF_MONTH if unit else HALF_OF_PLAIN
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


def _of_curve(months: list[_Month], ledger: Ledger) -> Iterator[tuple[list[Place], list[Together]]]:
    """Each month that is told coarsely, with what is then known of it and of the failures before and after it."""
    for before, month in zip([None, *months[:-1]], months, strict=True):
        _take_means(before, month)
    for at, month in enumerate(months):
        if month.places:
            pairs = [(None, month), *zip(months[max(at - 1, 0) : at + 1], months[max(at, 1) : at + 2], strict=False)]
            yield month.places, [one for pair in pairs for one in _failures(*pair, ledger)]


def _take_means(before: _Month | None, month: _Month) -> None:
    """The share failed is, on average between two months, the months lost between them a month."""
    if month.lost is None:
        return
    low, high, span = *month.lost, month.behind.by_month.month
    if before is not None and before.lost is not None:
        low, high, span = low - before.lost[1], high - before.lost[0], span - before.behind.by_month.month
        before.failed = _both(before.failed, (0.0, high / span))
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
        yield Together(dict(zip(names, [1.0] if before is None else [-1.0, 1.0], strict=True)), low, high)


def _rest(failed: Range) -> Range:
    return 1 - failed[1], 1 - failed[0]
