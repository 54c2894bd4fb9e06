"""A model of one term with levels returns each level's counts: its rows go where one of them goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of

from liftseries.models.shared.population import Population
from liftseries.release.masking import mask

N_PATIENTS = 120


def series(few: int, terms: tuple[str, ...] = ("approach",)) -> Population:
    """A site a patient; `few` of 40 sites of one level are perforated, 20 of the 80 others."""
    guided = np.arange(N_PATIENTS) < 40
    perforated = np.where(guided, np.arange(N_PATIENTS) < few, np.arange(N_PATIENTS) >= 100)
    number = [str(at) for at in range(N_PATIENTS)]
    cases = pd.DataFrame(
        {
            "site_id": number,
            "patient_id": number,
            "approach": pd.Categorical(np.where(guided, "guided", "freehand")),
            "rbh_mid_mm": np.linspace(3, 9, N_PATIENTS),
            "perforation": pd.Categorical(np.where(perforated, "yes", "no"), ["no", "yes", "unknown"]),
        }
    )
    return Population(
        {"perforation_terms": [*terms], "survival_terms": [], "gain_terms": []},
        cases,
        cases.iloc[:0],
        cases.iloc[:0],
    )


def told(population: Population) -> bool:
    """Whether the coefficient is told, where the shares of the levels are told as far as they may be."""
    row = {"analysis": "perforation.gee", "subset": "all", "term": "approach[guided]", "method": "corrected"}
    rate = {"analysis": "perforation.rate", "term": "rate", "method": "patients"}
    rows = [row, *(rate | {"subset": subset} for subset in ("all", "approach=guided", "approach=freehand"))]
    results = pd.DataFrame(rows).assign(headline=True, estimate=0.5, scale="risk", note="", problem="")
    empty = made_of("empty").whole
    counts = {"n_sites": pd.NA, "n_patients": pd.NA, "n_events": pd.NA}
    results = results.reindex(columns=empty.results.columns).assign(**counts)
    nothing = {name: table.iloc[:0] for name, table in empty.tables.items()}
    material = replace(empty, tables=nothing | {"results": results})
    return bool(mask(material, population, SMALLEST_CELL).material.rows("perforation.gee")["estimate"].notna().all())


@pytest.mark.parametrize(("few", "is_told"), [(2, False), (38, False), (10, True)])
def test_a_small_cell_takes_the_rows_of_its_saturated_model_along(few, is_told):
    """2 perforated of 40, 2 not perforated of 40, and 10 of 40."""
    assert told(series(few)) == is_told
