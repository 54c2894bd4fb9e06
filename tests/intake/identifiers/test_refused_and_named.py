"""Identifiers in cells that are refused anyway, and in the names of files and sheets: told, and never quoted."""

from __future__ import annotations

import openpyxl
import pytest
from studies import tables, write_plan, write_study

from liftseries.intake.identifiers.file_names import kind_of_file_name
from liftseries.intake.identifiers.kinds import Kind
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

# Invented people.
REFUSED = [
    ("steps", "speed_rpm", "Sister Monika Halloway", "a person's name"),
    ("steps", "speed_rpm", "held by monsieur Quill, tel. 030 5550147", "a telephone number"),
    ("sites", "rbh_min_mm", "Ottoline Marrowbone", "a person's name"),
    ("sites", "rbh_min_mm", "Gisela", "a person's name"),
    ("sites", "perforation", "torn when Ulrich sneezed", "a person's name"),
    ("sites", "perforation", "seen on 12.03.2021", "a date finer than a year"),
    ("sites", "perforation", "MRN 88123417", "a medical record number"),
    ("sites", "tooth", "o.marrowbone@example.org", "an e-mail address"),
]
ONLY_WRONG = [
    ("sites", "perforation", "Nicht erhoben"),
    ("sites", "perforation", "Keine Angabe"),
    ("sites", "perforation", "Not Recorded"),
    ("sites", "rbh_min_mm", "2020-03-04"),
    ("sites", "rbh_min_mm", "about five"),
    ("steps", "speed_rpm", "slow"),
]


def lines(tmp_path, table: str, column: str, text: str) -> list[str]:
    def change(rows):
        rows.loc[1, column] = text
        return rows

    write_study(tmp_path, {table: change})
    _, problems = check_study(read_plan(tmp_path))
    return list(map(str, problems))


@pytest.mark.parametrize(("table", "column", "text", "kind"), REFUSED)
def test_identifier_in_a_refused_cell_is_told_as_one(tmp_path, table, column, text, kind):
    (line,) = lines(tmp_path, table, column, text)
    assert line.startswith(f"{table}.csv, row 3, {column}: looks like {kind}.")
    assert not any(word in line for word in text.split() if len(word) > 3)


@pytest.mark.parametrize(("table", "column", "text"), ONLY_WRONG)
def test_what_is_only_wrong_is_told_as_wrong(tmp_path, table, column, text):
    (line,) = lines(tmp_path, table, column, text)
    assert "looks like" not in line
    assert line.startswith(f"{table}.csv, row 3, {column}: ")


def test_a_row_with_an_identifier_is_not_set_aside_with_it(tmp_path):
    write_study(tmp_path, {"sites": lambda sites: sites.assign(rbh_min_mm=["5.2", "Ottoline Marrowbone", "4.4", "7"])})
    intake, problems = check_study(read_plan(tmp_path))
    assert len(problems) == 1
    assert intake.set_aside.empty


# ── names ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("label", "kind"),
    [
        ("north.csv", None),
        ("cases.xlsx#sites", None),
        ("data/2021/patients_north.csv", None),
        ("sites_2024.csv", None),
        ("north_12345678.csv", None),
        ("Centre North.xlsx#Sites 2019", None),
        ("patients_Ottoline_Marrowbone.csv", Kind.NAME),
        ("Dr_Vole.csv", Kind.NAME),
        ("cases.xlsx#Ulrich Vole", Kind.NAME),
        ("sites_2021-03-04.csv", Kind.DATE),
        ("sites_20210304.csv", Kind.DATE),
        ("export 4.3.21.csv", Kind.DATE),
    ],
)
def test_kind_of_file_name(label, kind):
    assert kind_of_file_name(label) is kind


def test_a_file_with_a_persons_name_is_called_by_its_table_in_messages(tmp_path):
    made = tables()
    labels = {name: f"{name}.csv" for name in made}
    labels["sites"] = ["Ottoline_Marrowbone.csv", "sites_2021-03-04.csv", "south.csv"]
    for name, table in made.items():
        if name != "sites":
            table.to_csv(tmp_path / f"{name}.csv", index=False)
    for number, label in enumerate(labels["sites"]):
        made["sites"].iloc[number : number + 1].assign(rbh_min_mm="x").to_csv(tmp_path / label, index=False)
    write_plan(tmp_path, labels, "invalid_rows: set_aside")
    intake, problems = check_study(read_plan(tmp_path))
    said = "\n".join(map(str, problems))
    for place in (
        "sites, file 1, row 2, rbh_min_mm",
        "sites, file 2, row 2, rbh_min_mm",
        "south.csv, row 2, rbh_min_mm",
    ):
        assert place in said
    everything = said + intake.set_aside.to_csv() + intake.counts.to_csv() + intake.decisions.to_csv()
    assert not any(word in everything for word in ("Ottoline", "Marrowbone", "2021-03-04"))
    told = intake.decisions[intake.decisions["rule"] == "file_is_called_by_its_table"]
    assert told["file"].tolist() == ["sites, file 1", "sites, file 2"]
    assert set(intake.set_aside["file"]) >= {"sites, file 1", "sites, file 2", "south.csv"}


def test_so_is_a_sheet(tmp_path):
    made = tables()
    book = openpyxl.Workbook()
    for name, table in made.items():
        sheet = book.create_sheet("Ulrich Vole" if name == "sites" else name)
        sheet.append(list(table))
        for row in (
            table.assign(rbh_min_mm="x").itertuples(index=False) if name == "sites" else table.itertuples(index=False)
        ):
            sheet.append(list(row))
    book.save(tmp_path / "cases.xlsx")
    write_plan(tmp_path, {name: f"cases.xlsx#{'Ulrich Vole' if name == 'sites' else name}" for name in made})
    intake, problems = check_study(read_plan(tmp_path))
    said = "\n".join(map(str, problems)) + intake.decisions.to_csv() + intake.set_aside.to_csv()
    assert "sites, file 1, cell " in said
    assert "Vole" not in said
