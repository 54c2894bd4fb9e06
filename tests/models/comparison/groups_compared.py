"""Small tables of groups, and rows of their comparison, for the tests of this folder."""

import numpy as np
import pandas as pd
from invented import category

from liftseries.models.comparison.perforation import fit_comparison_perforation

ASKED = {"groups": "protocol", "reference": "A", "adjust_for": ["rbh_mid_mm", "smoking"], "weights": ["overlap"]}


def perforation(cases, **asked):
    rows = fit_comparison_perforation(cases, **ASKED | asked).rows
    return rows[rows["analysis"].eq("comparison.perforation")]


def row(rows, term, method, subset="all"):
    return rows.set_index(["subset", "term", "method"]).loc[(subset, term, method)]


def table(*cells, x=None):
    """Sites of a patient each: cells of (group, tears, others)."""
    group = np.concatenate([[g] * (tears + others) for g, tears, others in cells])
    torn = np.concatenate([["yes"] * tears + ["no"] * others for _, tears, others in cells])
    n = len(group)
    x = np.tile([3.0, 4.0, 5.0], n)[:n] if x is None else x
    return pd.DataFrame(
        {
            "site_id": [f"S{i}" for i in range(n)],
            "patient_id": [f"P{i}" for i in range(n)],
            "protocol": group,
            "perforation": category("perforation", torn),
            "rbh_mid_mm": x,
            "as_drilled": category("as_drilled", ["plan"] * n),
        }
    )
