"""Fresh labels for whatever is text in a study, so that no word of a cell goes into its twin."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.study.schema import Table

KEYS = {"patients": "patient_id", "sites": "site_id"}


def fresh_labels(
    real: Mapping[str, pd.DataFrame], schema: Mapping[str, Table], rng: np.random.Generator
) -> dict[str, dict[str, str]]:
    """For each text column but the keys of patients and sites: real label -> `operator_3`, in random order.

    Columns of the same name are one column, since a table names by it the rows of another.
    """
    labels: dict[str, set] = {}
    for table, frame in real.items():
        for name, column in schema[table].columns.items():
            if column.type == "text" and name not in KEYS.values():
                labels.setdefault(name, set()).update(frame[name].dropna())
    return {name: _numbered(name, sorted(held, key=str), rng) for name, held in labels.items()}


def _numbered(name: str, held: list, rng: np.random.Generator) -> dict:
    word = name.removesuffix("_id")
    numbers = rng.permutation(len(held)) + 1
    return {label: f"{word}_{number}" for label, number in zip(held, numbers, strict=True)}


def relabelled(table: pd.DataFrame, labels: Mapping[str, Mapping]) -> pd.DataFrame:
    """The table with every label replaced."""
    return table.assign(**{name: table[name].map(labels[name]) for name in table if name in labels})


def relabelled_plan(plan: Mapping, labels: Mapping[str, Mapping]) -> dict:
    """The section `plan` of study.yaml, where it names labels."""
    comparison = dict(plan["comparison"])
    own = labels.get(comparison["groups"], {})
    comparison["reference"] = own.get(comparison["reference"], comparison["reference"])
    contrasts = {
        column: [labels.get(column, {}).get(value, value) for value in values]
        for column, values in plan["risk_contrasts"].items()
    }
    # Real units by name; a twin has no cases of theirs to expect, and no limits kept from a year before.
    audit = {**plan["audit"], "expected": {}, "limits": {}}
    return {**plan, "comparison": comparison, "risk_contrasts": contrasts, "audit": audit}
