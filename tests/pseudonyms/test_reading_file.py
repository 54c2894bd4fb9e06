"""A centre's own headers, words and dates through its file of reading, to tables that `check` passes over."""

from __future__ import annotations

import pandas as pd
import pytest
import yaml

from liftseries.base.errors import StudyError
from liftseries.cli import main
from liftseries.pseudonyms.folder import pseudonymise
from liftseries.pseudonyms.reading_file import read_reading
from liftseries.pseudonyms.tables import Options
from liftseries.study.schema import audit_schema, read_schema

KEY = bytes(range(32))
SCHEMA = {**read_schema(), **audit_schema()}
# An invented file: a row a visit, patients and sites in it, German.
FLAT = """\
Serie von Zebedäus Quillfeather;;;;;;;;;;;;;
Nr;Name;geb.;Geschl.;OP-Datum;Regio;Operateur;Höhe min;Höhe max;Ereignis;Datum;Status;Bemerkung
12;Quillfeather, Zeb;01.02.1950;m;17.05.2018;Regio 16;Vole;5,2;6,1;OP;17.05.2018;;seltsam
12;Quillfeather, Zeb;01.02.1950;m;17.05.2018;Regio 16;Vole;5,2;6,1;Kontrolle;20.11.2018;functioning;Tel. 030 1234567
12;Quillfeather, Zeb;01.02.1950;m;03.06.2019;26;Vole;4,4;5;OP;03.06.2019;;
13;Marrowbone, Ott;31.12.1928;w;03.09.2022;26;Vole;4,4;5,5;OP;03.09.2022;;
13;Marrowbone, Ott;31.12.1928;w;03.09.2022;26;Vole;4,4;5,5;Kontrolle;18.09.2022;functioning;
"""
READING = """
constants: {patients: {centre: Nord}}
only_rows: {sites: {Ereignis: [OP]}, visits: {Ereignis: [Kontrolle]}}
ignore: [Bemerkung, Name]
prefix: N
levels: {sex: {m: male, w: female}}
columns:
  patients: {patient_id: Nr, sex: Geschl., age_years: {from: [geb., OP-Datum], take: age}}
  sites:
    site_id: {from: [Nr, Regio], join: "-"}
    patient_id: Nr
    tooth: Regio
    operator: Operateur
    surgery_year: {from: OP-Datum, take: year}
    rbh_min_mm: Höhe min
    rbh_max_mm: Höhe max
  visits:
    site_id: {from: [Nr, Regio], join: "-"}
    months: {from: [OP-Datum, Datum], take: months_between}
    status: Status
"""


def centre(tmp_path, change=lambda section: None):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "nord_quillfeather.csv").write_text(FLAT, encoding="utf-8")
    section = yaml.safe_load(READING)
    change(section)
    (tmp_path / "nord.yaml").write_text(yaml.safe_dump(section, allow_unicode=True), encoding="utf-8")
    return tmp_path / "in", tmp_path / "nord.yaml"


def made(tmp_path, change=lambda section: None) -> tuple[dict[str, pd.DataFrame], list[str]]:
    source, path = centre(tmp_path, change)
    options = Options("day-first", reading=read_reading(path, SCHEMA))
    done = pseudonymise(source, tmp_path / "out", KEY, options)
    names = ("patients", "sites", "visits")
    return {name: pd.read_csv(tmp_path / "out" / f"{name}.csv") for name in names}, list(map(str, done.told))


def test_own_headers_and_dates_become_the_dictionarys(tmp_path):
    tables, told = made(tmp_path)
    assert sorted(tables["patients"]["age_years"]) == [68, 90]
    assert sorted(tables["patients"]["sex"]) == ["female", "male"]
    assert sorted(tables["sites"]["surgery_year"]) == [2018, 2019, 2022]
    assert sorted(tables["sites"]["tooth"]) == [16, 26, 26]
    assert sorted(tables["visits"]["months"]) == [0.5, 6.1]
    assert set(tables["visits"]["site_id"]) <= set(tables["sites"]["site_id"])
    for name, table in tables.items():
        assert set(table) <= set(SCHEMA[name].columns)
    assert told == ["patients, row 1: titles and rows of units beside the table: dropped."]


def test_age_and_months_counted_from_the_sites_dates(tmp_path):
    """With the birth and the visit alone named, age is that at the first surgery and months since the site's own."""

    def fewer(section):
        section["columns"]["patients"]["age_years"]["from"] = "geb."
        section["columns"]["visits"]["months"]["from"] = "Datum"

    tables, _ = made(tmp_path, fewer)
    assert sorted(tables["patients"]["age_years"]) == [68, 90]
    assert sorted(tables["visits"]["months"]) == [0.5, 6.1]


def test_visits_in_groups_of_columns_have_dates_too(tmp_path):
    def groups(section):
        del section["only_rows"]["visits"]
        section["only_rows"]["visits"] = {"Ereignis": ["Kontrolle"]}
        months = {"from": ["OP-Datum", "Datum"], "take": "months_between"}
        site = section["columns"]["visits"]["site_id"]
        section["columns"]["visits"] = {"site_id": site, "each": [{"months": months, "status": "Status"}]}

    tables, _ = made(tmp_path, groups)
    assert sorted(tables["visits"]["months"]) == [0.5, 6.1]


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"rbh_min_mm": {"from": "OP-Datum", "take": "year"}}, "gives surgery_year of sites alone"),
        ({"surgery_year": {"from": ["OP-Datum", "Datum"], "take": "year"}}, "must name a column of dates"),
        ({"surgery_year": {"from": "OP-Datum", "take": "year", "unit": "cm"}}, "only `from` and `missing`"),
        ({"surgery_year": "?"}, "still questions"),
        ({"surgery_years": "OP-Datum"}, "is no column of sites"),
    ],
)
def test_what_is_wrong_with_a_reading_is_told(tmp_path, entry, says):
    _, path = centre(tmp_path, lambda section: section["columns"]["sites"].update(entry))
    with pytest.raises(StudyError, match=says):
        read_reading(path, SCHEMA)


def test_a_column_that_the_file_has_not_is_told_without_the_files_name(tmp_path):
    source, path = centre(tmp_path, lambda section: section["columns"]["sites"].update(rbh_min_mm="Hoehe"))
    with pytest.raises(StudyError, match='names the column "Hoehe"') as error:
        pseudonymise(source, tmp_path / "out", KEY, Options("day-first", reading=read_reading(path, SCHEMA)))
    assert "quillfeather" not in str(error.value).lower()


def test_command_takes_a_reading_and_says_last_who_stands_alone(tmp_path, capsys):
    source, path = centre(tmp_path)
    door = ["pseudonymise", str(source), str(tmp_path / "out"), "--key", str(tmp_path / "key"), "--new-key"]
    assert main([*door, "--reading", str(path), "--dates", "day-first"]) == 0
    said = capsys.readouterr().out.strip().splitlines()
    assert said[-1] == (
        "2 of 2 patients stand alone by centre, age, year and teeth (2 without teeth): pseudonymous personal data, "
        "not anonymous, to be shared under agreement only."
    )
