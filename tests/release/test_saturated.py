"""A model of one term with levels returns each level's counts: its rows go where one of them goes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL

from liftseries.models.shared.population import Population
from liftseries.release.entries import RESULTS, enter_results
from liftseries.release.ledger import Ledger
from liftseries.release.masking import protection_of

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


def given_away(population: Population) -> tuple[Ledger, set[str]]:
    row = {"analysis": "perforation.gee", "subset": "all", "term": "approach[guided]", "method": ""}
    ledger = Ledger(population)
    enter_results(ledger, pd.DataFrame([row]))
    return ledger, ledger.given_away.get((RESULTS, 0), set())


@pytest.mark.parametrize(("few", "goes"), [(2, True), (38, True), (10, False)])
def test_a_small_cell_takes_the_rows_of_its_saturated_model_along(few, goes):
    """2 perforated of 40, 2 not perforated of 40, and 10 of 40."""
    ledger, away = given_away(series(few))
    values = sorted(ledger.entries[name].value for name in away)
    assert values == sorted([40, 80, few, 40 - few, 20, 60])
    assert bool(away & ledger.withheld(protection_of(ledger, SMALLEST_CELL).withheld)) == goes


@pytest.mark.parametrize("terms", [["rbh_mid_mm"], ["approach", "rbh_mid_mm"]])
def test_a_model_with_fewer_coefficients_than_cells_gives_no_count_away(terms):
    assert not given_away(series(2, terms))[1]
