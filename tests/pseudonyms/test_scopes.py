"""Whose number it is: two centres' patient 12, runs again with more rows, rows in another order, kept texts."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import tables

from liftseries.base.errors import StudyError
from liftseries.pseudonyms.alone import patients_alone
from liftseries.pseudonyms.folder import LOG, pseudonymise
from liftseries.pseudonyms.tables import Options

KEY = bytes(range(32))


def numbered(centre: str = "") -> dict[str, pd.DataFrame]:
    """The sound study with running numbers, as every centre has them."""
    made = tables()
    patients = {patient: str(number) for number, patient in enumerate(made["patients"]["patient_id"], start=12)}
    sites = {site: str(number) for number, site in enumerate(made["sites"]["site_id"], start=1)}
    for table in made.values():
        for name, numbers in (("patient_id", patients), ("site_id", sites)):
            if name in table:
                table[name] = table[name].map(numbers)
    made["patients"]["centre"] = centre
    return made


def put(folder, made: dict[str, pd.DataFrame], beside: str = ""):
    folder.mkdir(exist_ok=True)
    for name, table in made.items():
        table.to_csv(folder / f"{name}{beside}.csv", index=False)
    return folder


def ids(out, table: str = "patients", name: str = "patient_id") -> set[str]:
    return set(pd.read_csv(out / f"{table}.csv", dtype=str)[name])


def everything(out) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in out.iterdir()}


def test_patient_12_of_two_centres_is_two_people(tmp_path):
    source = put(tmp_path / "in", numbered("North"), "_north")
    put(source, numbered("South"), "_south")
    done = pseudonymise(source, tmp_path / "out", KEY)
    assert "sites, operator: 2 operators of this name in more than one centre" in str(done.told[0])
    assert len(ids(tmp_path / "out")) == 6
    assert len(ids(tmp_path / "out", "sites", "site_id")) == 8
    assert len(ids(tmp_path / "out", "sites", "operator")) == 2
    for table in ("sites", "steps", "visits"):
        known = ids(tmp_path / "out", *(("patients", "patient_id") if table == "sites" else ("sites", "site_id")))
        assert ids(tmp_path / "out", table, "patient_id" if table == "sites" else "site_id") <= known


@pytest.mark.parametrize("centres", [("North", "South"), ("", "")], ids=["by centre", "by file"])
def test_also_in_two_runs_with_one_key(tmp_path, centres):
    for number, centre in enumerate(centres):
        source = put(tmp_path / f"in{number}", numbered(centre), f"_{number}")
        pseudonymise(source, tmp_path / f"out{number}", KEY)
    assert not ids(tmp_path / "out0") & ids(tmp_path / "out1")


def test_a_number_of_two_centres_in_one_file_is_refused(tmp_path):
    made = numbered("North")
    made["patients"] = pd.concat([made["patients"], made["patients"].assign(centre="South")])
    with pytest.raises(StudyError) as error:
        pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY)
    (line, *_) = map(str, error.value.problems)
    assert line.startswith("sites, rows 2, 3, 4, 5, patient_id: 4 cells: the number stands for two")


def test_a_centre_named_on_the_command_line_is_the_same_scope(tmp_path):
    pseudonymise(put(tmp_path / "a", numbered("North")), tmp_path / "out_a", KEY)
    pseudonymise(put(tmp_path / "b", numbered(), "_2025"), tmp_path / "out_b", KEY, Options(centre=" NORTH"))
    assert ids(tmp_path / "out_a") == ids(tmp_path / "out_b")


def test_more_rows_keep_the_codes_of_those_before(tmp_path):
    whole = numbered("North")
    first = {name: table.iloc[: max(1, len(table) - 1)] for name, table in whole.items()}
    pseudonymise(put(tmp_path / "first", first), tmp_path / "out_first", KEY)
    pseudonymise(put(tmp_path / "whole", whole), tmp_path / "out_whole", KEY)
    for table, name in (
        ("patients", "patient_id"), ("patients", "centre"), ("sites", "operator"), ("sites", "protocol"),
        ("sites", "site_id"), ("instruments", "instrument_id"),
    ):  # fmt: skip
        assert ids(tmp_path / "out_first", table, name) <= ids(tmp_path / "out_whole", table, name)
    assert ids(tmp_path / "out_first") < ids(tmp_path / "out_whole")


def test_rows_in_another_order_give_the_same_bytes(tmp_path):
    made = numbered("North")
    made["visits"] = pd.concat([made["visits"], made["visits"].iloc[:2]])  # and rows that have the same key
    shuffled = {name: table.sample(frac=1, random_state=1) for name, table in made.items()}
    assert not shuffled["sites"].equals(made["sites"])
    for name, study in (("a", made), ("b", shuffled)):
        pseudonymise(put(tmp_path / name, study), tmp_path / f"out_{name}", KEY)
    assert everything(tmp_path / "out_a") == everything(tmp_path / "out_b")
    patients = pd.read_csv(tmp_path / "out_a" / "patients.csv")["patient_id"].tolist()
    assert patients == sorted(patients)


def test_empty_tables_and_one_patient(tmp_path):
    made = numbered("North")
    made = {name: table.iloc[: int(name == "patients")] for name, table in made.items()}
    done = pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY)
    assert done.last.startswith("1 of 1 patient stands alone by centre, age, year and teeth (1 without teeth)")
    assert len(pd.read_csv(tmp_path / "out" / "sites.csv")) == 0
    assert (tmp_path / "out" / LOG).exists()


def test_a_patient_that_stands_nowhere_is_told(tmp_path):
    made = numbered("North")
    made["patients"] = made["patients"].iloc[1:]
    done = pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY)
    assert "sites, row 2, patient_id: the patient stands in no table here" in str(done.told[0])


# ── kept texts ────────────────────────────────────────────────────────────────────────────────────────────────


def many(n_patients: int, **columns) -> dict[str, pd.DataFrame]:
    patients = pd.DataFrame({"patient_id": [f"x{number}" for number in range(n_patients)], "centre": "North"})
    sites = pd.DataFrame({"site_id": [f"y{number}" for number in range(n_patients)], **columns})
    return {"patients": patients, "sites": sites.assign(patient_id=patients["patient_id"])}


def test_texts_are_kept_from_five_patients_on_and_shown(tmp_path):
    made = many(12, protocol=["A "] * 5 + ["B"] * 4 + ["a", "Marrowbone", ""], memo=["open"] * 9 + ["Vole"] * 3)
    options = Options(keep=frozenset({"protocol", "memo"}))
    done = pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY, options)
    sites = pd.read_csv(tmp_path / "out" / "sites.csv", dtype=str)
    assert sites["protocol"].value_counts()["A"] == 6
    assert sites["protocol"].dropna().str.fullmatch("A|t-[a-z2-7]{16}").all()
    assert sites["memo"].value_counts().to_dict() == {"open": 9}
    assert 'protocol: kept as it stands: "A" (6 patients). Is any of it a person or place?' in done.shown
    assert "memo: 1 other text of fewer than 5 patients, not kept." in done.shown


def test_a_text_of_many_sites_of_few_patients_is_not_kept(tmp_path):
    made = many(4, protocol="A")
    more = pd.concat([made["sites"], made["sites"].assign(site_id=["z1", "z2", "z3", "z4"])])
    options = Options(keep=frozenset({"protocol"}))
    pseudonymise(put(tmp_path / "in", made | {"sites": more}), tmp_path / "out", KEY, options)
    assert "A" not in ids(tmp_path / "out", "sites", "protocol")


def test_a_name_that_many_patients_have_is_not_kept(tmp_path):
    options = Options(keep=frozenset({"memo"}))
    made = many(9, memo="Dr. Zebedee Quillfeather")
    done = pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY, options)
    assert pd.read_csv(tmp_path / "out" / "sites.csv")["memo"].isna().all()
    assert any("looks like an identifier: not kept" in str(line) for line in done.told)
    assert "Quillfeather" not in "".join(map(str, (*done.told, *done.shown)))


@pytest.mark.parametrize(
    ("columns", "keep", "says"),
    [
        ({"memo": [f"word {chr(97 + number // 5)}" for number in range(105)]}, "memo", "at most 20 are kept"),
        ({"operator": "o"}, "operator", "only labels and free texts can be kept"),
        ({"tooth": "16"}, "tooth", "only labels and free texts can be kept"),
    ],
)
def test_what_cannot_be_kept_is_refused(tmp_path, columns, keep, says):
    with pytest.raises(StudyError, match=says):
        pseudonymise(put(tmp_path / "in", many(105, **columns)), tmp_path / "out", KEY, Options(keep=frozenset({keep})))


def test_declared_columns_are_written_and_their_levels_shown(tmp_path):
    own = {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}, "note": {"type": "text"}}}
    made = many(3, flapless=["no", "yes", "Vole"], note="x")
    done = pseudonymise(put(tmp_path / "in", made), tmp_path / "out", KEY, Options(extra_columns=own))
    sites = pd.read_csv(tmp_path / "out" / "sites.csv")
    assert sorted(sites["flapless"].dropna()) == ["no", "yes"]
    assert "note" not in sites
    assert done.shown == ["flapless: a column of the study's own; its levels are no, yes."]
    assert any(str(line).startswith("sites, note: free text: dropped") for line in done.told)


def test_patients_alone():
    """a and b are alike in all but teeth; c has another age."""
    patients = pd.DataFrame({"patient_id": list("abc"), "centre": "n", "age_years": ["50", "50", "51"]}, dtype=object)
    sites = pd.DataFrame({"patient_id": list("abc"), "surgery_year": "2020", "tooth": ["16", "26", "16"]}, dtype=object)
    assert patients_alone({"patients": patients, "sites": sites}) == (3, 3, 1)
