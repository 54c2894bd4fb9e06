"""What a declaration of disclosure may say: whom a number counts, and which others go where a count goes.

| numbers | go where |
|---|---|
| a count | the protection withholds it, the ledger does not know it, or knows another value |
| a share | its numerator or denominator goes |
| mean and standard deviation | their count goes, or fewer patients than the smallest cell stand behind them |
| a median; quartiles | the same, and below 2 or 4 times as many patients: so many lie on either side |
| smallest and largest values, single cases, rows set aside | always: each is one record |
| an estimate that is an exact function of counts | one of those counts goes |
| a model's coefficient | its level or the reference has too few patients with an event, or without one |
| a model's intercept, a risk or curve from a model, its calibration | its number of events goes, too |
| survival after a month | fewer patients than the smallest cell are still followed then |
| degrees of freedom | the number of patients goes: they are worked out from it |

Plain data: functions are named as text (`package.module:function`). A table without a declaration does not leave the
house, and a row without one keeps no number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np

Unit = Literal["sites", "patients"]
MEDIAN_NEEDS, QUARTILES_NEED = 2, 4  # times the smallest cell: so many patients lie below and above; our convention
# Columns by whose levels rows may leave the house; by another's, an operator's say, only where a declaration names it.
LEAVE_BY = ("rbh_band", "lift_band", "approach", "protocol", "centre")


@dataclass(frozen=True)
class Rule:
    """When some of a row's numbers go.

    Attributes
    ----------
    numbers : the columns
    counts : they go where one of these counts does
    behind : how many times the smallest cell of patients must stand behind them
    given_away : they go where a count does that can be worked out from them
    """

    numbers: tuple[str, ...]
    counts: tuple[str, ...] = ()
    behind: int = 0
    given_away: bool = False


@dataclass(frozen=True)
class TableRules:
    """How a table may leave the house.

    Attributes
    ----------
    counts : its columns of counts
    rules : what goes with them
    labels : its numbers that tell of nobody, a month or a confidence level; any further number is emptied
    behind : function of the population and a row: a `Behind`, or None where nobody is known to stand behind it
    coarsened : function of all tables, by name, that gives this one coarse enough to leave; "" where it is as it is
    follows : function of the table and its masked copy that tells again what follows from what is left
    leave_by : columns by whose levels its rows may leave
    """

    counts: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()
    labels: tuple[str, ...] = ()
    behind: str = ""
    coarsened: str = ""
    follows: str = ""
    leave_by: tuple[str, ...] = LEAVE_BY

    @property
    def numbers(self) -> tuple[str, ...]:
        """Its columns of numbers that may leave, unless they are withheld."""
        return (*self.counts, *(column for rule in self.rules for column in rule.numbers), *self.labels)


@dataclass(frozen=True)
class Counted:
    """Whom a count counts.

    Attributes
    ----------
    members : shape (n_sites,), true/false
    unit : whether the sites or their patients are counted
    recorded : it only says of whom something is on record, not what
    """

    members: np.ndarray
    unit: Unit = "sites"
    recorded: bool = False


@dataclass(frozen=True)
class Behind:
    """Who stands behind a row.

    Attributes
    ----------
    counts : column -> whom the count printed there counts
    gives_away : counts that the row's other numbers are exact functions of
    rests_on : groups that they rest on, each of shape (n_sites,), true/false
    seen_in : what a reader sees the counts side by side with: `Count.table`
        For a row of results.csv it follows from its outcome and subset.
    """

    counts: Mapping[str, Counted] = field(default_factory=dict)
    gives_away: tuple[Counted, ...] = ()
    rests_on: tuple[np.ndarray, ...] = ()
    seen_in: tuple[str, ...] = ()


def behind_estimate(
    sites: np.ndarray,
    events: np.ndarray | None = None,
    *,
    event_unit: Unit = "sites",
    gives_away: tuple[Counted, ...] = (),
    rests_on: tuple[np.ndarray, ...] = (),
    recorded: bool = False,
) -> Behind:
    """Who stands behind a row of results.csv.

    Parameters
    ----------
    sites : shape (n_sites,), true/false; n_sites and n_patients count them, and its numbers rest on them
    events : n_events counts them; None where nothing is an event
    event_unit : what n_events counts
    gives_away, rests_on : as in `Behind`; the sites need not be named again
    recorded : whether `sites` says only of whom something was recorded
    """
    counts = {"n_sites": Counted(sites, "sites", recorded), "n_patients": Counted(sites, "patients", recorded)}
    if events is not None:
        counts["n_events"] = Counted(events, event_unit)
    return Behind(counts, gives_away, (sites, *rests_on))
