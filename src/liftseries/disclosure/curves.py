"""Steps of a published curve: none that rests on fewer patients than may be shown."""

from dataclasses import dataclass

import numpy as np

from liftseries.disclosure.counts import Count


@dataclass(frozen=True)
class Steps:
    """The steps that a published curve keeps.

    Attributes
    ----------
    months : shape (n_steps,)
        Where the curve may step, rising; it is flat in between and says at each step what the whole curve says there.
    counts : the events up to and including each step, one count a step
    """

    months: np.ndarray
    counts: tuple[Count, ...]


def round_times(
    name: str, months: np.ndarray, event: np.ndarray, patients: np.ndarray, smallest_cell: int, *, table: str = ""
) -> Steps:
    """Thin a step curve until at least `smallest_cell` patients have an event between any two kept steps.

    What is left over after the last step that would qualify is put together with that step, at the last event: so no
    step and no remainder rests on fewer. With fewer patients than that in all, the curve keeps no step.

    Parameters
    ----------
    name : of the curve; its counts are called "name at 12"
    months : shape (n_sites,), when each site's event or its observation ended; NaN = not in the curve
    event : shape (n_sites,), true/false
    patients : shape (n_sites,), int
    smallest_cell
    table : of the counts

    Returns
    -------
    Steps
    """
    months, event, patients = np.asarray(months, float), np.asarray(event, bool), np.asarray(patients)
    event = event & ~np.isnan(months)
    kept: list[float] = []
    after = -np.inf
    for month in np.unique(months[event]):
        if _n_patients(patients, event & (months > after) & (months <= month)) >= smallest_cell:
            kept.append(float(month))
            after = month
    if kept and (event & (months > kept[-1])).any():
        kept[-1] = float(months[event].max())
    counts = tuple(Count(f"{name} at {month:g}", event & (months <= month), table=table) for month in kept)
    return Steps(np.array(kept), counts)


def _n_patients(patients: np.ndarray, members: np.ndarray) -> int:
    return len(np.unique(patients[members]))
