"""How a unit's count lies to the limits of its own make-up: alert and alarm, high and low, and its flag."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from liftseries.estimators.clustered_count import Tails, needed_sites
from liftseries.estimators.clusters import cluster_codes

ALERT, ALARM = "alert", "alarm"


@dataclass(frozen=True)
class Areas:
    """Tail areas of alert and alarm, of one side each."""

    alert: float
    alarm: float


@dataclass(frozen=True)
class Lies:
    """How a count lies to a distribution.

    Attributes
    ----------
    limits : `upper_alert` … -> count, None where no count is so unlikely
    p_high, p_low : P(X ≥ x), P(X ≤ x)
    flag : -2, -1, 0, 1, 2
    """

    limits: dict[str, int | None]
    p_high: float
    p_low: float

    @property
    def p_value(self) -> float:
        """Twice the smaller tail area, at most 1."""
        return min(1.0, 2 * min(self.p_high, self.p_low))


def lies(count: int, of: Tails, areas: Areas) -> tuple[Lies, int]:
    """How a count lies to a distribution, and its flag."""
    area = {ALERT: areas.alert, ALARM: areas.alarm}
    limits = {f"upper_{name}": of.upper(one) for name, one in area.items()}
    limits |= {f"lower_{name}": of.lower(one) for name, one in area.items()}
    reached = [limit is not None and count >= limit for limit in (limits["upper_alert"], limits["upper_alarm"])]
    fallen = [limit is not None and count <= limit for limit in (limits["lower_alert"], limits["lower_alarm"])]
    flag = max(1 * reached[0], 2 * reached[1]) or -max(1 * fallen[0], 2 * fallen[1])
    return Lies(limits, float(of.at_least[count]), float(of.at_most[count])), flag


@dataclass(frozen=True)
class MakeUp:
    """Sites and mean risk of each patient, shape (K,)."""

    sizes: np.ndarray
    means: np.ndarray


def make_up(patient: np.ndarray, expected: np.ndarray) -> MakeUp:
    """Of a unit's sites: `patient` and `expected` risk of each, shape (n,)."""
    codes, k = cluster_codes(patient)
    sizes = np.bincount(codes, minlength=k)
    return MakeUp(sizes, np.bincount(codes, expected, k) / sizes)


def false_flag(found: Lies, in_control: Tails, name: str) -> float:
    """The probability in control of a count at or beyond the limits of that name."""
    return in_control.beyond(found.limits[f"lower_{name}"], found.limits[f"upper_{name}"])


@lru_cache(maxsize=256)
def needed_of(mean: float, correlation: float, size: int, area: float) -> int | None:
    """`needed_sites`, once for all units of the same make-up."""
    return needed_sites(mean, correlation, size, area)
