"""Drafts of three invented centres' headers: nothing certain is wrong, shapes that call for a form get one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from header_sets import SETS, judged, write_set

from liftseries.base.errors import StudyError
from liftseries.base.plain_yaml import load_yaml
from liftseries.cli import main
from liftseries.intake.mapping.drafted import drafted
from liftseries.intake.mapping.header_words import bare, possible_names, sure_names, written
from liftseries.intake.mapping.looked_at import look_at
from liftseries.intake.mapping.matching import file_column, matches
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import source_of
from liftseries.study.schema import read_schema

SCHEMA = read_schema()
NAMES = {name for table in SCHEMA.values() for name in table.columns}


def draft_of(folder, name: str) -> str:
    return drafted(look_at(source_of(name, folder), NAMES), SCHEMA).text


def draft_of_table(folder, **columns) -> str:
    """Of a file with these columns, beside enough others for it to hold sites."""
    n = len(next(iter(columns.values())))
    more = {"Zahn": ["16", "26", "17"] * n, "ISQ": ["70", "71", "60"] * n, "Eindrehmoment": ["30", "35", "25"] * n}
    own = {name: cells[:n] for name, cells in more.items()}
    pd.DataFrame({**own, **columns}).to_csv(folder / "file.csv", index=False, sep=";")
    return draft_of(folder, "file.csv")


@pytest.fixture(scope="module")
def drafts(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sets")
    return {language: draft_of(folder, write_set(folder, language)) for language in SETS}


@pytest.mark.parametrize("language", SETS)
def test_what_is_certain_is_right_and_most_headers_have_a_place(drafts, language):
    """The traps, such as `Länge` in a file that has an implant's length elsewhere, stay questions."""
    found, headers = judged(drafts[language], SETS[language]), SETS[language]
    assert found.wrong == []
    meant = [header for header in headers if headers[header]]
    assert set(found.aside) <= set(headers) - set(meant)
    assert len(found.certain) >= 0.75 * len(meant)
    assert all(f'"? {header}"' in drafts[language] for header in set(headers) - set(meant))


def test_a_membrane_on_an_image_is_no_mucosa_and_no_certainty(drafts):
    lines = [line for line in drafts["german"].splitlines() if '"DVT Schleimhaut"' in line]
    assert any(line.strip().startswith('membrane_mm: "?"') for line in lines)
    assert not any(line.strip().startswith("soft_tissue_mm") for line in lines)  # that one has a header of its own


# ── part ────────────────────────────────────────────────────────────────────────────────────────
def columns_of(draft: str, table: str = "sites") -> dict:
    return load_yaml(draft)["columns"][table]


def test_two_numbers_in_a_cell_are_parts_where_the_header_names_both(drafts):
    assert columns_of(drafts["german"])["implant_length_mm"] == {"from": "Implantat Ø/Länge", "part": 2}
    assert columns_of(drafts["dutch"])["implant_diameter_mm"] == {"from": "Implantaat (D x L)", "part": 1}


def test_they_are_a_question_where_it_does_not(tmp_path):
    draft = draft_of_table(tmp_path, Schraube=["4,1/9", "4,8/8,5", "3,6/10"] * 2)
    assert columns_of(draft)["implant_length_mm"] == "?"
    assert '# perhaps {from: "Schraube", part: 2}' in draft


@pytest.mark.parametrize(
    "cells", [["120/80", "130/85", "125/70"], ["3/2024", "5/2024", "6/2023"], ["9/4,1", "8/4,8", "10/4"]]
)
def test_other_pairs_of_numbers_call_for_no_part(tmp_path, cells):
    """A blood pressure, a month; and a length before the diameter, which `part` would take the wrong way round."""
    assert "part:" not in draft_of_table(tmp_path, **{"Implantat Ø/Länge": cells * 2})


# ── take ────────────────────────────────────────────────────────────────────────────────────────
def test_residual_heights_at_two_places_are_lowest_and_highest(drafts):
    pair = ["Resthöhe 1 (mm)", "Resthöhe 2 (mm)"]
    sites = columns_of(drafts["german"])
    assert sites["rbh_min_mm"] == {"from": pair, "take": "lowest"}
    assert sites["rbh_max_mm"] == {"from": pair, "take": "highest"}


def test_heights_of_which_nobody_says_that_they_are_residual_are_a_question(drafts):
    assert columns_of(drafts["dutch"])["rbh_min_mm"] == "?"
    assert '# perhaps {from: ["Bothoogte mesiaal", "Bothoogte distaal"], take: lowest}' in drafts["dutch"]


@pytest.mark.parametrize(
    "names", [("Resthöhe 1", "Resthöhe distal"), ("Resthöhe 1", "Breite 2"), ("Alter 1", "Alter 2")]
)
def test_columns_that_are_no_pair_are_none(tmp_path, names):
    cells = ["5.2", "6.1", "4.4", "7"]
    assert "take:" not in draft_of_table(tmp_path, **dict.fromkeys(names, cells))


def test_three_heights_are_no_pair(tmp_path):
    cells = ["5.2", "6.1", "4.4", "7"]
    draft = draft_of_table(tmp_path, **{f"Resthöhe {side}": cells for side in ("mesial", "distal", "1")})
    assert '["Resthöhe mesial", "Resthöhe distal", ' not in draft


# ── only_rows ───────────────────────────────────────────────────────────────────────────────────
def test_a_column_that_says_what_a_row_is_gives_the_rows(drafts):
    rows = load_yaml(drafts["french"])["only_rows"]
    assert rows["sites"] == {"Événement": ["Opération"]}
    assert rows["visits"]["Événement"][0] == "Contrôle 1"


def flat(folder, change=lambda table: table, name="Ereignis"):
    rows = {
        name: ["OP", "Kontrolle 1", "OP", "Kontrolle 1"],
        "Zahn": ["16", "", "26", ""], "Eindrehmoment": ["30", "", "35", ""], "ISQ": ["70", "", "60", ""],
        "Monate": ["", "6", "", "12"], "Randknochen": ["", "0.2", "", "0.3"],
    }  # fmt: skip
    change(pd.DataFrame(rows)).to_csv(folder / "flat.csv", index=False, sep=";")
    return draft_of(folder, "flat.csv")


def test_rows_are_certain_where_words_are_ours_and_columns_are_filled_apart(tmp_path):
    assert load_yaml(flat(tmp_path))["only_rows"]["visits"] == {"Ereignis": ["Kontrolle 1"]}


@pytest.mark.parametrize("cell", [("Ereignis", 3, "Telefonat"), ("Monate", 0, "0"), ("Ereignis", 3, "")])
def test_another_word_or_a_row_of_both_kinds_makes_it_a_question_without_that_word(tmp_path, cell):
    column, row, text = cell

    def change(table):
        table.loc[row, column] = text
        return table

    draft = flat(tmp_path, change)
    assert load_yaml(draft)["only_rows"] == "?"
    assert "Telefonat" not in draft


def test_a_question_about_rows_is_refused_by_check_until_it_is_answered(tmp_path):
    flat(tmp_path, lambda table: table.assign(Ereignis=["OP", "Kontrolle 1", "OP", "Anruf"]))
    (tmp_path / "study.yaml").write_text("study: {id: flat}\n", encoding="utf-8")
    assert main(["map", str(tmp_path), "flat.csv", "--add"]) == 0
    with pytest.raises(StudyError, match="only_rows"):
        read_plan(tmp_path)


# ── what is no header ───────────────────────────────────────────────────────────────────────────
def test_rows_with_gaps_below_the_header_are_no_second_line_of_names(tmp_path):
    """A row of a visit has gaps where one of a surgery is full: neither is a header, and none is shown in the draft."""
    table = pd.DataFrame(
        {
            "Ereignis": ["OP", "Kontrolle"], "Zahn": ["regio 16", ""], "Operateur": ["quernstone", "quernstone"],
            "Zentrum": ["zwetschge", ""], "Protokoll": ["A", ""], "Status": ["", "ok"],
        }
    )  # fmt: skip
    pd.concat([table] * 4).to_csv(tmp_path / "flat.csv", index=False, sep=";")
    draft = draft_of(tmp_path, "flat.csv")
    assert "header_rows" not in draft
    assert "quernstone" not in draft
    assert "zwetschge" not in draft


def test_groups_above_the_names_of_a_csv_are_still_found(tmp_path):
    text = "Patient;;;Implantat;\nNr.;Alter;Geschlecht;Drehmoment;ISQ\nP1;54;w;30;70\nP2;61;m;35;71\n"
    (tmp_path / "file.csv").write_text(text, encoding="utf-8")
    assert "header_rows: [1, 2]" in draft_of(tmp_path, "file.csv")


@pytest.mark.parametrize(
    ("group", "is_certain"), [("Implantat", True), ("Gegenseite", False), ("Nachsorge", False), ("OP", True)]
)
def test_a_name_under_a_group_is_certain_where_the_group_is_of_the_site(tmp_path, group, is_certain):
    """A torque of the other side, and an ISQ at a recall, are not the site's."""
    text = f"Patient;;{group};\nNr.;Alter;Drehmoment;ISQ\nP1;54;30;70\nP2;61;35;71\nP3;47;25;60\n"
    (tmp_path / "file.csv").write_text(text, encoding="utf-8")
    draft = draft_of(tmp_path, "file.csv")
    assert (f'isq: "{group} ISQ"' in draft) == is_certain


# ── the words themselves ────────────────────────────────────────────────────────────────────────
def test_no_name_means_two_columns_of_a_table_for_sure():
    for table in SCHEMA.values():
        names = [name for column in table.columns.values() for name in sure_names(column)]
        assert len(names) == len(set(names)), sorted({name for name in names if names.count(name) > 1})


def test_every_entry_is_a_column_and_every_name_a_text():
    assert set(written()["headers"]) <= NAMES
    for group in written()["groups"]:
        assert {*group.get("only", ()), *group.get("except", ())} <= NAMES
    for lists in written()["headers"].values():
        assert all(isinstance(name, str) and bare(name) for of in lists.values() for name in of)


def test_a_name_that_may_mean_something_else_is_never_sure():
    for table in SCHEMA.values():
        for column in table.columns.values():
            assert not (sure_names(column) & possible_names(column)) - {bare(column.name)}


def test_cells_of_another_kind_make_a_sure_name_a_question(tmp_path):
    numbers = np.array(["5", "6", "7"] * 2)
    assert columns_of(draft_of_table(tmp_path, Operateur=list(numbers), Geschlecht=list(numbers)))["operator"]
    assert "sex:" not in draft_of_table(tmp_path, Geschlecht=list(numbers)).replace('sex: "?"', "")


@pytest.mark.parametrize(
    ("table", "column", "header", "cells", "certain"),
    [
        ("patients", "diabetes", "Diabetes (family)", ["yes", "no"], False),
        ("patients", "smoking", "Smoking (father)", ["current", "never"], False),
        ("sites", "perforation", "Perforation (site 2)", ["yes", "no"], False),
        ("sites", "torque_ncm", "Torque (healing)", ["30", "35"], False),
        ("sites", "torque_ncm", "Torque (Ncm)", ["30", "35"], True),
        ("patients", "diabetes", "Diabetes (j/n)", ["yes", "no"], True),
        ("patients", "age_years", "Alter (Jahre)", ["54", "61"], True),
    ],
)
def test_brackets_that_say_which_of_several_things_are_a_question(table, column, header, cells, certain):
    found = matches([file_column(header, np.array(cells, object))], SCHEMA[table])[column]
    assert [match.certain for match in found] == [certain]
