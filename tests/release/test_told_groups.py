"""Groups of few patients have no row, none and all are told of large groups alone, nested sets are targets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of

from liftseries.models.gain.behind import stability
from liftseries.models.series import describe
from liftseries.models.shared.behind import Row
from liftseries.models.shared.population import Population
from liftseries.release.masking import mask

N = 60


def population_of(**columns) -> Population:
    """Sixty patients with a site each."""
    number = [f"P{at}" for at in range(N)]
    cases = pd.DataFrame(
        {
            "site_id": number,
            "patient_id": number,
            "protocol": np.where(np.arange(N) < 30, "A", "B"),
            "smoking": pd.Categorical(np.where(np.arange(N) % 2, "never", "current"), ["never", "former", "current"]),
            "perforation": pd.Categorical(np.where(np.arange(N) % 3, "no", "yes"), ["no", "yes", "unknown"]),
        }
        | columns
    )
    none = pd.DataFrame({"site_id": [], "months": [], "status": []})
    plan = {"perforation_terms": [], "survival_terms": [], "gain_terms": []}
    return Population(plan, cases, none.assign(failed=[], died=[]), none)


def described(population: Population, of_patients: bool = False) -> pd.DataFrame:
    """The characteristics that leave."""
    columns = (["smoking", "perforation"], []) if of_patients else (["smoking"], ["perforation"])
    table = describe.characteristics(population.cases, "protocol", *columns)
    whole = made_of("empty").whole
    nothing = {name: other.iloc[:0] for name, other in whole.tables.items()}
    material = replace(whole, tables=nothing | {"characteristics": table})
    return mask(material, population, SMALLEST_CELL).material.table("characteristics")


def protocol(*sizes: int) -> np.ndarray:
    """Labels A, B … of so many patients each."""
    return np.repeat([chr(ord("A") + k) for k in range(len(sizes))], sizes)


@pytest.mark.parametrize("few", [1, 3])
def test_noughts_of_a_small_group_a_label_of_few_patients_has_no_row(few):
    """With it goes the next smallest, or the total would tell of it."""
    told = described(population_of(protocol=protocol(few, 25, 34 - few + 1)))
    assert set(told["subset"]) == {"all"}


def test_a_label_of_few_patients_among_four_is_merged_with_the_next_smallest():
    told = described(population_of(protocol=protocol(2, 12, 22, 24)))
    assert set(told["subset"]) == {"all", "protocol=C", "protocol=D"}


def test_labels_of_enough_patients_are_told():
    assert set(described(population_of())["subset"]) == {"all", "protocol=A", "protocol=B"}


def test_that_nobody_of_a_small_group_smokes_is_not_told():
    """Of 15 patients it would tell of each one; of the other column nothing goes."""
    labels = protocol(15, 20, 25)
    smoking = np.where(
        (labels == "A") | (np.arange(N) % 2 == 0), "never", np.where(np.arange(N) % 4 == 1, "former", "current")
    )
    told = described(population_of(protocol=labels, smoking=pd.Categorical(smoking, ["never", "former", "current"])))
    by = told.groupby("column")["subset"].agg(set)
    assert by["smoking"] == {"all"}
    assert by["perforation"] == {"all", "protocol=A", "protocol=B", "protocol=C"}


def test_nested_sets_are_targets_two_totals_that_differ_by_two_are_not_both_told():
    """Of all 60 the perforation of 58 is known: 60 less 58 is two patients."""
    perforation = np.where(np.arange(N) < 2, "unknown", np.where(np.arange(N) % 3, "no", "yes"))
    told = described(population_of(perforation=pd.Categorical(perforation, ["no", "yes", "unknown"])), of_patients=True)
    rows = told[told["subset"].eq("all")].drop_duplicates("column").set_index("column")
    assert rows.loc["perforation", "n_missing"] == -SMALLEST_CELL
    assert set(rows["n_known"]) != {58, 60}
    assert rows["n_known"].lt(0).any()


def test_where_no_value_of_a_group_is_known_all_of_it_is_missing():
    """In the house, too."""
    perforation = np.where(np.arange(N) < 30, None, np.where(np.arange(N) % 3, "a", "b"))
    cases = population_of().cases.assign(bone_quality=perforation)
    table = describe.characteristics(cases, patient_columns=[], site_columns=["bone_quality"])
    missing = table.drop_duplicates("subset").set_index("subset")["n_missing"]
    assert missing.to_dict() == {"all": 30, "protocol=A": 30, "protocol=B": 0}


@pytest.mark.parametrize(("few", "given"), [(14, True), (60, False)])
def test_the_interval_of_a_mean_beside_its_deviation_gives_the_number_of_few_away(few, given):
    torque = np.where(np.arange(N) < few, 40.0, np.nan)
    population = population_of(torque_ncm=torque, placement=pd.Categorical(["same_day"] * N))
    behind = stability(population, Row("stability.torque", "all", "mean", "patients"))
    assert [int(counted.members.sum()) for counted in behind.gives_away] == ([few] if given else [])
