"""What a declaration of disclosure may say: whom a number counts, and which others go where a count goes.

With k the smallest cell, in patients:

| numbers | leave where |
|---|---|
| a count | it is declared as core, of 0 or at least k patients, and not needed to hide another |
| sites, patients, events, df and standard error of a row off the core | never |
| a group by which rows are told | k patients; 2k by outcome; none or all as `groups` says |
| a share, and any other exact function of counts | each of those counts is told; its interval where its patients are |
| a share or survival of which not all counts are told | roundly, where the attack recovers nothing whatever it were |
| a design effect of which not all counts are told | as 1 or 2, likewise, where events are rare |
| mean and standard deviation, any estimate | 2k patients |
| a median; quartiles | 2k; 4k, so that k lie on either side |
| smallest and largest values, single cases, rows set aside | never: each is one record |
| a coefficient | `FREE_PATIENTS` more patients than terms; its level and the reference: k with an event and k without |
| an intercept | never |
| survival at a month | 2k patients are still followed then |
| p | to two decimals, where the number of patients is told, or there are `MANY_PATIENTS` of them |

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
ESTIMATE_NEEDS, OUTCOME_NEEDS, TRAIT_NEEDS = 2, 2, 4  # likewise: behind an estimate, a group by outcome, none or all
FREE_PATIENTS, MANY_PATIENTS = 10, 60
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
    interval : they are an interval, and go with the counts that an interval alone gives away, too
    """

    numbers: tuple[str, ...]
    counts: tuple[str, ...] = ()
    behind: int = 0
    given_away: bool = False
    interval: bool = False


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
    core : whether its counts leave; off the core they are known in the house alone
    told_by : its columns that say what is told of a group; a group goes from each of them apart
    traits : whether it tells traits of persons, of which none and all are told of `TRAIT_NEEDS` times k patients only
    leave_by : columns by whose levels its rows may leave
    """

    counts: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()
    labels: tuple[str, ...] = ()
    behind: str = ""
    coarsened: str = ""
    core: bool = True
    told_by: tuple[str, ...] = ()
    traits: bool = False
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
    """

    members: np.ndarray
    unit: Unit = "sites"


@dataclass(frozen=True)
class ByMonth:
    """What an estimate by a month of follow-up says of the sites failed by then, the first that it gives away.

    Attributes
    ----------
    says : the share that has not failed, by Kaplan and Meier or by a life table; the share that has; the mean months
        until then
    month : of follow-up
    followed : at risk at the start, shape (n_sites,), true/false
    still : of those, at risk at the month
    died : of those, died by the month with the implant in function
    """

    says: Literal["survival", "life table", "failed", "months"]
    month: float
    followed: np.ndarray
    still: np.ndarray
    died: np.ndarray

    @property
    def curve(self) -> tuple[bytes, bool]:
        """Equal of what is of one curve: a life table is another than Kaplan and Meier's."""
        return self.followed.tobytes(), self.says == "life table"


@dataclass(frozen=True)
class Behind:
    """Who stands behind a row.

    Attributes
    ----------
    counts : column -> whom the count printed there counts
    gives_away : counts that the row's other numbers are exact functions of
    by_interval : further counts that its interval gives away
    rests_on : groups of which each must be `ESTIMATE_NEEDS` times k patients, each of shape (n_sites,), true/false
    parts : groups of which each must be k patients: a level's with an event, say
    needs : fewest patients behind the first of `rests_on`, whatever k is
    group : of whom the row tells, where that is not the first of `rests_on`
    seen_in : what a reader sees the counts side by side with: `Count.table`
        For a row of results.csv it follows from its outcome and subset.
    by_month : what it says of follow-up, where it can be told roundly though the counts behind it are not
    share : whether it is a share that can be told roundly, of the second in the first of `gives_away`
    effect : whether it is a design effect, told as 1 or 2 where the counts behind it are withheld
    """

    counts: Mapping[str, Counted] = field(default_factory=dict)
    gives_away: tuple[Counted, ...] = ()
    by_interval: tuple[Counted, ...] = ()
    rests_on: tuple[np.ndarray, ...] = ()
    parts: tuple[np.ndarray, ...] = ()
    needs: int = 0
    group: np.ndarray | None = None
    seen_in: tuple[str, ...] = ()
    by_month: ByMonth | None = None
    share: bool = False
    effect: bool = False

    @property
    def may_be_rounded(self) -> bool:
        """Whether its estimate can leave roundly where counts behind it are withheld."""
        return self.share or self.effect or self.by_month is not None


def behind_estimate(
    sites: np.ndarray,
    events: np.ndarray | None = None,
    *,
    event_unit: Unit = "sites",
    gives_away: tuple[Counted, ...] = (),
    by_interval: tuple[Counted, ...] = (),
    rests_on: tuple[np.ndarray, ...] = (),
    parts: tuple[np.ndarray, ...] = (),
    needs: int = 0,
    share: bool = False,
) -> Behind:
    """Who stands behind a row of results.csv.

    Parameters
    ----------
    sites : shape (n_sites,), true/false; n_sites and n_patients count them, and its numbers rest on them
    events : n_events counts them; None where nothing is an event
    event_unit : what n_events counts
    gives_away, by_interval, rests_on, parts, needs, share : as in `Behind`; the sites need not be named again
    """
    counts = {"n_sites": Counted(sites), "n_patients": Counted(sites, "patients")}
    if events is not None:
        counts["n_events"] = Counted(events, event_unit)
    return Behind(counts, gives_away, by_interval, (sites, *rests_on), parts, needs, share=share)
