"""k-anonymity on patients: the printed example, missing values, sites as part of the record, coarsened tables."""

from __future__ import annotations

import itertools
from math import log2

import numpy as np
import pandas as pd
import pytest

from liftseries.disclosure import coarsening
from liftseries.disclosure.anonymity import (
    class_sizes,
    patient_classes,
    patients_below,
    quasi_identifiers,
    record_classes,
    smallest_class,
)
from liftseries.disclosure.coarsening import Lattice, coarsened_tables, search
from liftseries.disclosure.ladders import LADDERS, ladder
from liftseries.study.schema import read_schema

# Sweeney 2002, doi:10.1142/S0218488502001648, figure 2: race, birth, gender and ZIP code of eleven patients, k = 2.
# From memory.
PRINTED = """
Black 1965 m 0214*
Black 1965 m 0214*
Black 1965 f 0213*
Black 1965 f 0213*
Black 1964 f 0213*
Black 1964 f 0213*
White 1964 m 0213*
White 1964 m 0213*
White 1964 m 0213*
White 1967 m 0213*
White 1967 m 0213*
"""
NO_SITES = pd.DataFrame({"patient_id": pd.Series(dtype=object)})


def test_the_printed_table_has_k_2():
    rows = [line.split() for line in PRINTED.strip().splitlines()]
    patients = pd.DataFrame(rows, columns=["race", "birth", "gender", "zip"])
    patients["patient_id"] = [f"t{number}" for number in range(1, 12)]
    classes = patient_classes(patients, NO_SITES, ["race", "birth", "gender", "zip"], [])
    assert class_sizes(classes).tolist() == [2, 2, 2, 2, 2, 2, 3, 3, 3, 2, 2]
    assert smallest_class(classes) == 2
    assert patients_below(classes, 3) == 8


def test_a_missing_value_matches_only_a_missing_value():
    patients = pd.DataFrame({"patient_id": list("abcd"), "sex": ["female", None, None, np.nan]})
    sizes = class_sizes(patient_classes(patients, NO_SITES, ["sex"], []))
    assert sizes.tolist() == [1, 3, 3, 3]


def test_sites_count_in_no_order_and_with_their_number():
    """a and b have the same two teeth, c one of them, d one of them twice, e none."""
    patients = pd.DataFrame({"patient_id": list("abcde")})
    sites = pd.DataFrame(
        {"patient_id": list("aabbcdd"), "tooth": [16, 26, 26, 16, 16, 16, 16], "surgery_year": [2020] * 7}
    )
    classes = patient_classes(patients, sites, [], ["tooth", "surgery_year"])
    assert class_sizes(classes).tolist() == [2, 2, 1, 1, 1]
    assert class_sizes(patient_classes(patients, sites, [], [])).tolist() == [3, 3, 1, 3, 1]


def test_patients_are_counted_and_not_sites():
    """Ten equal sites of one patient hide nobody."""
    patients = pd.DataFrame({"patient_id": ["a", "b"], "sex": ["male", "male"]})
    sites = pd.DataFrame({"patient_id": ["a"] * 10 + ["b"], "tooth": [16] * 11})
    assert smallest_class(patient_classes(patients, sites, ["sex"], ["tooth"])) == 1


def test_no_patient_has_no_class():
    nobody = pd.DataFrame({"patient_id": pd.Series(dtype=object), "sex": pd.Series(dtype=object)})
    classes = patient_classes(nobody, NO_SITES, ["sex"], [])
    assert smallest_class(classes) == 0
    assert patients_below(classes, 5) == 0


def series(seed: int, n_patients: int = 120) -> dict[str, pd.DataFrame]:
    """A drawn series with the quasi-identifiers of the contract, some values missing."""
    rng = np.random.default_rng(seed)
    patients = pd.DataFrame(
        {
            "patient_id": [f"p{number}" for number in range(n_patients)],
            "centre": rng.choice(["north", "south"], n_patients),
            "age_years": pd.array(rng.integers(30, 80, n_patients), "Int64"),
            "sex": pd.Categorical(rng.choice(["female", "male"], n_patients), ["female", "male", "other", "unknown"]),
            "smoking": rng.choice(["never", "former", "current"], n_patients),
            "diabetes": rng.choice(["no", "yes"], n_patients, p=[0.9, 0.1]),
            "periodontitis": rng.choice(["no", "yes", "unknown"], n_patients),
        }
    )
    patients.loc[rng.random(n_patients) < 0.05, "age_years"] = pd.NA
    owner = np.repeat(np.arange(n_patients), rng.choice([1, 2, 3], n_patients, p=[0.7, 0.25, 0.05]))
    sites = pd.DataFrame(
        {
            "site_id": [f"s{number}" for number in range(owner.size)],
            "patient_id": patients["patient_id"].to_numpy()[owner],
            "operator": rng.choice(["o1", "o2"], owner.size),
            "surgery_year": pd.array(rng.integers(2018, 2022, owner.size), "Int64"),
            "tooth": pd.array(rng.choice([14, 15, 16, 17, 24, 25, 26, 27], owner.size), "Int64"),
            "approach": rng.choice(["guided", "freehand"], owner.size),
        }
    )
    return {"patients": patients, "sites": sites}


def counted_again(tables: dict[str, pd.DataFrame]) -> pd.Series:
    """Patients by record, worked out row by row from the released tables alone."""
    records = []
    own = [name for name in tables["sites"] if name not in ("site_no", "patient_no")]
    for patient in tables["patients"].itertuples(index=False):
        rows = tables["sites"].loc[tables["sites"]["patient_no"] == patient.patient_no, own]
        of_sites = sorted(tuple("-" if pd.isna(value) else str(value) for value in row) for row in rows.to_numpy())
        values = ["-" if pd.isna(value) else str(value) for value in patient[1:]]
        records.append(str((values, of_sites)))
    return pd.Series(records).value_counts()


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("k", "carry"), [(2, ()), (5, ()), (5, ("approach",)), (12, ())])
def test_every_released_record_is_shared_by_k_patients(seed, k, carry):
    tables = series(seed)
    released = coarsened_tables(tables, read_schema(), k, seed=seed, carry=carry)
    counts = counted_again(released.tables)
    assert counts.min() >= k
    assert counts.min() == released.smallest_class
    assert counts.sum() + released.n_left_out == released.n_patients == 120
    assert released.classes[released.classes >= 0].value_counts().min() >= k
    assert released.n_emptied + released.n_left_out <= 0.05 * 120


def test_fewer_patients_than_k_leave_empty_tables():
    tables = series(1, n_patients=4)
    released = coarsened_tables(tables, read_schema(), 5)
    assert released.n_left_out == 4
    assert released.smallest_class == 0
    assert all(table.empty for table in released.tables.values())


def test_no_key_no_operator_count_and_no_measurement_is_released():
    tables = series(2)
    tables["sites"]["rbh_min_mm"] = 5.3
    tables["sites"]["operator_case_no"] = np.arange(len(tables["sites"]))
    released = coarsened_tables(tables, read_schema(), 2, carry=("approach",), most_emptied=0.2)
    allowed = {"patient_no", "site_no", *LADDERS, "approach", "centre", "sex", "diabetes", "periodontitis", "operator"}
    for table in released.tables.values():
        assert set(table) <= allowed
        assert not table.astype(str).apply(lambda column: column.str.fullmatch(r"[ps]\d+")).any(axis=None)
    assert released.tables["sites"]["patient_no"].is_monotonic_increasing is False


def test_the_same_seed_gives_the_same_rows_and_another_one_others():
    tables = series(3)
    first, again, other = (coarsened_tables(tables, read_schema(), 3, seed=seed).tables["sites"] for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


# ── the search ──────────────────────────────────────────────────────────────────────────────────


def lattice_of(seed: int, of_patient: list[str], of_site: list[str]) -> Lattice:
    tables = series(seed, n_patients=60)
    return Lattice(tables["patients"], tables["sites"], of_patient, of_site)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("k", [2, 4, 9])
def test_no_coarsening_loses_less(seed, k):
    """All of a small lattice, each looked at: 4 * 3 * 2 * 4 = 96 or so coarsenings."""
    lattice = lattice_of(seed, ["age_years", "smoking", "sex"], ["tooth"])
    most_below = 3
    every = itertools.product(*(range(top + 1) for top in lattice.top))
    answers = [lattice.bits_lost(levels) for levels in every if lattice.below(levels, k) <= most_below]
    found = search(lattice, k, most_below)
    # Where not even the coarsest is an answer, for patients of a rare number of sites, it is given all the same.
    assert (lattice.below(found, k) <= most_below) == bool(answers)
    assert lattice.bits_lost(found) == pytest.approx(min(answers, default=lattice.bits_lost(lattice.top)))


def test_a_search_that_is_cut_short_still_gives_an_answer(monkeypatch):
    monkeypatch.setattr(coarsening, "MOST_LOOKED_AT", 3)
    lattice = lattice_of(5, ["age_years", "smoking", "sex"], ["tooth"])
    found = search(lattice, 4, 3)
    assert lattice.below(found, 4) <= 3


@pytest.mark.parametrize("seed", range(3))
def test_coarsening_only_merges_classes(seed):
    """What the search rests on: one rung up never puts more patients below k, nor gives information back."""
    lattice = lattice_of(seed, ["age_years", "smoking"], ["surgery_year", "tooth"])
    for levels in itertools.product(*(range(top + 1) for top in lattice.top)):
        for column, top in enumerate(lattice.top):
            if levels[column] < top:
                coarser = (*levels[:column], levels[column] + 1, *levels[column + 1 :])
                assert lattice.below(coarser, 4) <= lattice.below(levels, 4)
                assert lattice.bits_lost(coarser) >= lattice.bits_lost(levels) - 1e-12


def test_information_is_counted_in_bits():
    """Four teeth alike frequent are 2 bits, premolar or molar 1 bit; two sites a patient."""
    patients = pd.DataFrame({"patient_id": ["a", "b"]})
    sites = pd.DataFrame({"patient_id": list("aabb"), "tooth": pd.array([14, 15, 16, 17], "Int64")})
    lattice = Lattice(patients, sites, [], ["tooth"])
    assert lattice.top == (3,)
    # All four are right, so the side tells nothing.
    assert [lattice.bits_lost((level,)) for level in range(4)] == pytest.approx([0, 2, 2, 2 * log2(4)])


def test_advice_ranks_by_patients_freed_for_each_bit():
    """Ages are all different and keep everybody apart; sex keeps only two classes of six apart."""
    patients = pd.DataFrame(
        {
            "patient_id": list("abcdefghijkl"),
            "age_years": pd.array(range(31, 43), "Int64"),
            "sex": ["female", "male"] * 6,
        }
    )
    lattice = Lattice(patients, NO_SITES, ["age_years", "sex"], [])
    levels = search(lattice, 6, 0)
    told = coarsening.advice(lattice, levels, 6)
    # 20-year bands part 31-39 from 40-42, so age goes; all twelve would be alone with it.
    assert lattice.holds(0, levels[0]) == "left out"
    assert levels[1] == 0
    assert told.loc[0, ["column", "to", "patients_freed", "freed_alone"]].tolist() == ["age_years", "left out", 12, 12]
    assert told.loc[0, "freed_per_bit"] == pytest.approx(12 / log2(12))


def test_ladders_say_what_they_hold():
    age = pd.Series(pd.array([16, 54, 55, None], "Int64"))
    held = {rung.holds: rung.of(age).tolist() for rung in ladder("age_years")}
    assert held["5-year bands"][:3] == ["15 to 19", "50 to 54", "55 to 59"]
    assert held["20-year bands"][:3] == ["0 to 19", "40 to 59", "40 to 59"]
    assert all(pd.isna(values[3]) for values in held.values())
    tooth = pd.Series(pd.array([14, 18, 25, 26], "Int64"))
    fine, coarse, out = (rung.of(tooth).tolist() for rung in ladder("tooth"))
    assert fine == ["right premolar", "right molar", "left premolar", "left molar"]
    assert coarse == ["premolar", "molar", "premolar", "molar"]
    assert all(pd.isna(value) for value in out)
    assert [rung.holds for rung in ladder("operator")] == ["left out"]


def test_every_ladder_is_of_a_quasi_identifier():
    schema = read_schema()
    named = {name for table in ("patients", "sites") for name in quasi_identifiers(schema[table])}
    assert set(LADDERS) <= named
    assert named == {
        "centre", "age_years", "sex", "smoking", "diabetes", "periodontitis", "operator", "surgery_year", "tooth",
    }  # fmt: skip


def test_whatever_identifies_says_from_where():
    for table in read_schema().values():
        for column in table.columns.values():
            assert bool(column.identifies) == bool(column.known_from), column.name
            assert column.identifies in ("", "quasi", "direct")


def test_own_columns_identify_when_the_study_says_so():
    entry = {"type": "category", "levels": ["teacher", "other"], "identifies": "quasi"}
    schema = read_schema({"patients": {"occupation": entry, "note": {"type": "text"}}})
    assert quasi_identifiers(schema["patients"])[-1] == "occupation"


def test_patients_of_whom_nothing_is_known_are_alike_but_for_how_many_sites_they_have():
    nothing = np.empty((3, 0), int)
    alike = record_classes(nothing, np.empty((0, 0), int), np.empty(0, int))
    assert (alike.tolist(), alike.dtype.kind) == ([0, 0, 0], "i")
    classes = record_classes(nothing, np.empty((4, 0), int), np.array([0, 0, 2, -1]))
    assert len(set(classes.tolist())) == 3
    nobody = class_sizes(record_classes(nothing[:0], np.empty((0, 0), int), np.empty(0, int)))
    assert (nobody.size, nobody.dtype.kind) == (0, "i")
