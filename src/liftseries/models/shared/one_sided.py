"""How large a risk could be that left no trace, or all of it: a bound of one side."""

from liftseries.estimators.intervals import CONF_LEVEL


def largest_risk(n: int) -> float:
    """The risk of which no event in n independent chances is still 5 % likely: 1 - 0.05^(1/n), about 3 / n.

    Source: Clopper and Pearson 1934 at no event; Hanley and Lippman-Hand 1983, doi:10.1001/jama.1983.03330370053031.
    """
    return float(1 - (1 - CONF_LEVEL) ** (1 / n))
