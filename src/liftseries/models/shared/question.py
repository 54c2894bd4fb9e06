"""How a question is declared: what it reads, asks of the plan and leaves, which analyses answer it, who stands behind.

Plain data: the workflow reads all declarations before anything is computed, so functions are named as text
(`package.module:function`) and no library is imported. Rules, jobs, the order of results.csv,
what the report and a release may take, and README's table come from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from liftseries.disclosure.declared import LEAVE_BY, TableRules

# The method of every share, mean and quartile that describes what was recorded; see `described`.
DESCRIBED = {"patients": "as counted; intervals from the differences between patients"}


@dataclass(frozen=True)
class Analysis:
    """Rows of results.csv of one name.

    Attributes
    ----------
    name : in the column `analysis`
    means : what it is, for README's table
    methods : code in the column `method` -> what it does, for the report
    headline : the methods whose row may be the one that the report quotes, `headline` in results.csv
    answers : the question in words, where several methods or analyses answer it: their rows are about the same terms
        and meet in one table, "the same question by other methods"
    behind : function of the population and a row that says who stands behind it; without one its numbers stay in the
        house
    core : the methods whose rows leave the house with their counts; all others leave without
    good : whether its event is what one hopes for; else it is a harm, and none of it is good news
    outcome : what it is about, where that is not the first part of its name; analyses of one outcome count the same
        events, and a reader sees their rows side by side
    of_row : its term names the row that it is worked out from, `perforation.gee approach[guided]`, and whoever stands
        behind that one stands behind it
    leave_by : columns by whose levels its rows may leave the house
    """

    name: str
    means: str
    methods: Mapping[str, str] = field(default_factory=dict)
    headline: tuple[str, ...] = ()
    answers: str = ""
    behind: str = ""
    core: tuple[str, ...] = ()
    good: bool = False
    outcome: str = ""
    of_row: bool = False
    leave_by: tuple[str, ...] = LEAVE_BY

    @property
    def about(self) -> str:
        """The outcome that it is about."""
        return self.outcome or self.name.partition(".")[0]


@dataclass(frozen=True)
class Leaves:
    """A table that a question leaves beside its estimates, as `work/{name}.csv`.

    Attributes
    ----------
    name : of the table
    attribute : of what the question's function gives back; empty where that is the table itself
    columns : its columns, with blanks between
    disclosure : how it may leave the house; None where it may not
    """

    name: str
    attribute: str
    columns: str
    disclosure: TableRules | None = None


@dataclass(frozen=True)
class Draws:
    """How a question resamples: a chunk a job; every replicate has its own seed, so the split changes no answer.

    Attributes
    ----------
    function : takes the question's tables, what it asks, `first` and `n`, and gives a row or more a replicate
    n : the plan key that says how many replicates there are
    a_job : how many of them one job draws
    asks : argument -> plan key
    events : function that counts the events of the question's tables, where many of them ask for fewer replicates than
        the plan (`shared.resamples`)
    fewest : below which many events do not bring the replicates
    """

    function: str
    n: str
    a_job: int
    asks: Mapping[str, str]
    events: str
    fewest: int


@dataclass(frozen=True)
class Question:
    """One function that answers, and what it needs.

    Attributes
    ----------
    name : of its files in work/
    says : what its job is doing, in a few words
    function : gives `Estimates`, or where it has no analyses anything with the attributes that it leaves
    reads : argument -> table of the run (`cases`, `implants`, `visits` …), or `estimates:QUESTION`
    analyses : the rows that it gives
    asks : argument -> plan key; a dot leads into a section (`imputation.sets`)
    by : columns whose levels are subsets, as the argument `by`
    draws : where it resamples; what was drawn is the argument `draws`
    leaves : further tables
    fits : names of its models that leave a covariance and the sites used, see `shared.fitted`
    alone : whether it has a job of its own, as what it imports is heavy
    purposes : of study.yaml, that ask it
    """

    name: str
    says: str
    function: str
    reads: Mapping[str, str]
    analyses: tuple[Analysis, ...] = ()
    asks: Mapping[str, str] = field(default_factory=dict)
    by: tuple[str, ...] = ()
    draws: Draws | None = None
    leaves: tuple[Leaves, ...] = ()
    fits: tuple[str, ...] = ()
    alone: bool = False
    purposes: tuple[str, ...] = ("publication",)

    @property
    def room(self) -> str:
        """The outcome that it is about, whose quick questions share a job: `perforation`."""
        return self.function.split(".")[2]
