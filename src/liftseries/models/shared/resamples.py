"""How many replicates are drawn: as many as the plan asks for, fewer where events are many.

    drawn = asked                                          up to 500 events
          = asked * 500 / events, never below the fewest   beyond; the fewest: 100 resamples, 5 imputations

*Situation:* a replicate costs as much as the series is large, and a thousand of them most of a large run. *Choice:*
fewer, as events grow: their spread is known to 7 % from a hundred, and the error of many events needs no percentiles;
five imputations give 98 % of the precision where a tenth of what could be known is missing (Rubin 1987).
*Rival:* none at all from some size on; then the row that is quoted would change its kind. *Consequence:* a series of
500 events or fewer gives what it always gave; beyond, the rows say how many were drawn, and those of fewer than 400
have limits from the spread of the resamples, for percentiles of so few are not to be relied on.
"""

from liftseries.models.shared.gates import MANY_EVENTS

FEWEST_FOR_PERCENTILES = 400


def n_drawn(asked: int, n_events: int, fewest: int) -> int:
    """How many replicates are drawn of so many that the plan asks for, in a series of so many events.

    `fewest` stands in the question's declaration (`Draws`).
    """
    if n_events <= MANY_EVENTS:
        return asked
    return min(asked, max(fewest, asked * MANY_EVENTS // n_events))


def gives_percentiles(n_resamples: int, n_events: int) -> bool:
    """Whether limits are percentiles of the resamples; else they come from their spread."""
    return n_events <= MANY_EVENTS or n_resamples >= FEWEST_FOR_PERCENTILES
