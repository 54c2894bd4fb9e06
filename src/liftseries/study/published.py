"""Published counts of tears that an audit sets its series beside: schemas/published_counts.csv.

Primary clinical crestal series, tears per sinus, as one systematic review tabulates them (its column `review`); rows of
that table that contradict themselves are out.
"""

from __future__ import annotations

import pandas as pd

from liftseries.base.home import folder

COLUMNS = ("source_key", "citation", "group", "events", "denominator", "denominator_unit", "review", "status")


def published_counts() -> pd.DataFrame:
    """COLUMNS, a row a published series."""
    return pd.read_csv(folder("schemas") / "published_counts.csv", keep_default_na=False)[list(COLUMNS)]
