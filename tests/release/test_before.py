"""More than one release: what was told before is known, and the next release is attacked together with it."""

from __future__ import annotations

from dataclasses import replace
from hashlib import sha256

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.base.outputs import write_csv
from liftseries.models.series import describe
from liftseries.models.shared.population import Population
from liftseries.release.before import FOLDER, HOUSE, RANGES, House, keys_of, read_before, record, told_before
from liftseries.release.bundle import check_protected
from liftseries.release.changed_counts import out_already
from liftseries.release.check import attacked
from liftseries.release.masking import Masked, mask
from liftseries.release.recorded import check_read_back, check_record, told_counts
from liftseries.study.plan import read_plan


def population_of(n: int, changed: int = 0) -> Population:
    """So many patients with a site each; of the first `changed` of them sex was corrected."""
    number = [f"P{at}" for at in range(n)]
    sex = np.where((np.arange(n) % 2 == 0) ^ (np.arange(n) < changed), "female", "male")
    cases = pd.DataFrame({"site_id": number, "patient_id": number, "sex": pd.Categorical(sex, ["female", "male"])})
    none = pd.DataFrame({"site_id": [], "months": [], "status": []})
    return Population({}, cases.assign(protocol="A"), none, none)


def masked_of(population: Population, before=None, smallest_cell: int = SMALLEST_CELL) -> Masked:
    whole = made_of("empty").whole
    nothing = {name: table.iloc[:0] for name, table in whole.tables.items()}
    table = describe.characteristics(population.cases, "protocol", ["sex"], [])
    material = replace(whole, tables=nothing | {"characteristics": table[table["subset"].eq("all")]})
    return mask(material, population, smallest_cell, before=before)


@pytest.fixture
def released(tmp_path):
    """A folder in which the release of 60 patients is recorded."""
    population = population_of(60)
    record(tmp_path, *told_counts(masked_of(population), SMALLEST_CELL, "first", False), population)
    return tmp_path


def n_known(masked: Masked) -> float:
    return masked.material.table("characteristics")["n_known"].iloc[0]


def test_the_first_release_tells_what_is_enough():
    assert n_known(masked_of(population_of(60))) == 60


def test_a_second_release_with_three_new_patients_does_not_tell_of_them(released):
    """63 less 60."""
    second = population_of(63)
    masked = masked_of(second, read_before(released, second, "second"))
    assert n_known(masked) < 0
    assert attacked(masked, SMALLEST_CELL).recovered == []


def test_the_attack_sees_three_new_patients_where_the_first_release_is_not_minded(released):
    """Else finding none would prove nothing."""
    second = population_of(63)
    masked = masked_of(second)
    ledger = replace(masked.ledger, before=read_before(released, second, "second"))
    assert attacked(replace(masked, ledger=ledger), SMALLEST_CELL).recovered


def test_a_second_release_with_many_new_patients_is_told(released):
    second = population_of(80)
    assert n_known(masked_of(second, read_before(released, second, "second"))) == 80


def with_females(n_females: int) -> Population:
    """60 patients with a site each, of whom the first so many are female."""
    population = population_of(60)
    sex = pd.Categorical(np.where(np.arange(60) < n_females, "female", "male"), ["female", "male"])
    return replace(population, cases=population.cases.assign(sex=sex))


def test_what_a_release_of_smaller_cells_left_narrow_does_not_end_all_further_ones(tmp_path, plan):
    """Of three females that were told one was no female: two are among the three, so never four."""
    first, second = with_females(3), with_females(2)
    told, house = told_counts(masked_of(first, smallest_cell=3), 3, "first", False)
    assert 3 in told.loc[told["form"].eq("exact"), "value"].astype(int).tolist()
    record(tmp_path, told, house, first)
    masked = masked_of(second, read_before(tmp_path, second, "second"))
    assert attacked(masked, SMALLEST_CELL).recovered == []
    assert {upper for _, upper in masked.ledger.left.values()} == {3.0}
    check_protected(plan, masked)
    not_minded = replace(masked, ledger=replace(masked.ledger, left={}))
    assert attacked(not_minded, SMALLEST_CELL).recovered
    with pytest.raises(
        StudyError, match=r"worked out whatever is withheld.*Seen in: characteristics sex; release 0001"
    ):
        check_protected(plan, not_minded)


def test_a_count_of_few_that_a_lower_k_told_is_listed_and_stands_as_few(tmp_path, plan):
    """Three females at k = 3; the same sixty at k = 5."""
    population = with_females(3)
    record(tmp_path, *told_counts(masked_of(population, smallest_cell=3), 3, "first", False), population)
    masked = masked_of(population, read_before(tmp_path, population, "second"))
    check_protected(plan, masked)
    (name,) = out_already(masked.ledger, SMALLEST_CELL)
    assert masked.ledger.entries[name].value == 3
    told = masked.material.table("characteristics").set_index("level")["n"]
    assert (told["female"], told["male"]) == (-SMALLEST_CELL, 57)
    assert out_already(masked_of(population).ledger, SMALLEST_CELL) == []


def test_a_corrected_patient_counts_as_changed():
    before, after = keys_of(population_of(10)), keys_of(population_of(10, changed=2))
    assert (before != after).tolist() == [True, True] + [False] * 8


def test_a_key_is_of_all_that_is_recorded_of_the_patient():
    teeth = pd.array([14, None, 16], "Int64")
    cases = pd.DataFrame({"site_id": list("abc"), "patient_id": list("xyx"), "tooth": teeth})
    visits = pd.DataFrame({"site_id": list("cac"), "months": [3.0, 6.0, 9.5]})
    texts = {"x": "a|x|14a|6.0#c|x|16c|3.0|c|9.5", "y": "b|y|"}
    hashes = {patient: sha256(text.encode()).hexdigest()[:16] for patient, text in texts.items()}
    expected = [f"a:x:{hashes['x']}", f"b:y:{hashes['y']}", f"c:x:{hashes['x']}"]
    assert keys_of(Population({}, cases, visits, visits)).tolist() == expected


def test_the_sets_are_recorded_as_any_table_is(tmp_path):
    """A row for each site of each set; a key that a spreadsheet would compute, or that has commas, among them."""
    population = population_of(3)
    population.cases["site_id"] = ["=1+1", 'of, "two"', "P2"]
    sets = {"s0": np.array([True, True, False]), "s1": np.zeros(3, bool), "s2": np.ones(3, bool)}
    nothing = pd.DataFrame(columns=list(RANGES))
    record(tmp_path, pd.DataFrame({"set": list(sets)}), House(sets, nothing, nothing), population)
    rows = [(name, key) for name, members in sets.items() for key in keys_of(population)[members]]
    write_csv(tmp_path / "expected.csv", pd.DataFrame(rows, columns=["set", "site"]))
    assert (tmp_path / FOLDER / HOUSE / "0001.csv").read_bytes() == (tmp_path / "expected.csv").read_bytes()


def test_the_same_run_is_no_earlier_release(released):
    assert read_before(released, population_of(60), "first") is None


@pytest.fixture
def plan(tmp_path_factory):
    return read_plan(write_study(tmp_path_factory.mktemp("study")))


def test_a_second_variant_of_one_run_is_refused(released, plan):
    check_record(plan, told_before(released), "first", with_rows=False)
    with pytest.raises(StudyError, match="the other variant"):
        check_record(plan, told_before(released), "first", with_rows=True)


def test_a_lower_smallest_cell_is_refused(released, plan):
    told = told_before(released).assign(smallest_cell=plan.smallest_cell + 1)
    with pytest.raises(StudyError, match="a lower one would tell"):
        check_record(plan, told, "second", with_rows=False)
    check_record(plan, told, "second", with_rows=False, lower_cell=True)


def test_a_bundle_whose_record_is_lost_is_refused(plan):
    (plan.folder / "release").mkdir()
    write_told(plan, "another")
    with pytest.raises(StudyError, match="is lost"):
        check_record(plan, pd.DataFrame(columns=["run", "smallest_cell", "rows"]), "first", with_rows=False)
    check_record(plan, pd.DataFrame(columns=["run", "smallest_cell", "rows"]), "first", with_rows=False, first=True)


def write_told(plan, run: str, n: int = 60) -> pd.DataFrame:
    """The record in a bundle of so many patients, of a run."""
    told, _ = told_counts(masked_of(population_of(n)), plan.smallest_cell, run, False)
    (plan.folder / "release").mkdir(exist_ok=True)
    write_csv(plan.folder / "release" / "told.csv", told)
    return told


def test_a_lost_record_is_read_back_from_the_bundle_of_the_same_run(plan):
    """The same run gives the same sets again."""
    told = write_told(plan, "this")
    check_record(plan, told_before(plan.folder), "this", with_rows=False)
    check_read_back(plan, told)
    with pytest.raises(StudyError, match="the other variant"):
        check_record(plan, told_before(plan.folder), "this", with_rows=True)


def test_a_bundle_that_tells_other_counts_is_not_read_back(plan):
    write_told(plan, "this", n=80)
    told, _ = told_counts(masked_of(population_of(60)), plan.smallest_cell, "this", False)
    with pytest.raises(StudyError, match="says other counts"):
        check_read_back(plan, told)


def test_a_release_whose_sets_are_lost_is_no_ground_for_another(released):
    assert read_before(released, population_of(63), "second") is not None
    (released / FOLDER / HOUSE / "0001.csv").unlink()
    with pytest.raises(StudyError, match="is lost"):
        read_before(released, population_of(63), "second")


@pytest.mark.parametrize("content", [b"", b'set,unit\n"open', b"\xff\xfe\x00"])
def test_a_record_of_the_bundle_that_cannot_be_read_is_told_where_it_is_needed(tmp_path, released, content):
    plan = read_plan(write_study(tmp_path / "study"))
    (plan.folder / "release").mkdir()
    (plan.folder / "release" / "told.csv").write_bytes(content)
    lost = told_before(tmp_path / "nowhere")
    with pytest.raises(StudyError, match="is not as release left it"):
        check_record(plan, lost, "second", with_rows=False, first=False, lower_cell=False)
    check_record(plan, lost, "second", with_rows=False, first=True, lower_cell=False)
    check_record(plan, told_before(released), "second", with_rows=False, first=False, lower_cell=False)
