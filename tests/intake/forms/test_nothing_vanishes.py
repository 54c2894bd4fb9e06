"""No row, column or word of a file goes without a word: each planted case beside an innocent neighbour."""

from __future__ import annotations

import openpyxl
import pandas as pd
import pytest
from studies import added, tables, write_plan, write_study
from test_forms_said import told

from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan

ONLY = "{sites.csv: {only_rows: {sites: {Event: [OP]}}, ignore: [Event]}}"


def events(*words: str):
    return {"sites": lambda sites: sites.assign(Event=list(words))}


def without_children(changes: dict) -> dict:
    """The rows that refer to sites left out."""
    return {"steps": lambda table: table.iloc[:0], "visits": lambda table: table.iloc[:0], **changes}


# ── rows and words of only_rows ─────────────────────────────────────────────────────────────────


def test_a_filled_row_that_no_table_takes_is_told_with_its_number(tmp_path):
    said = ONLY.replace(", ignore: [Event]", "")
    problems = told(tmp_path, said, without_children(events("OP", "0P", "OP", "Op")))
    assert [problem for problem in problems if "row 3 is no table's" in problem], problems
    assert told(tmp_path / "b", said, without_children(events("OP", " op ", "OP", "Op"))) == []


def test_a_row_that_another_table_of_the_file_takes_is_no_problem(tmp_path):
    flat = tables()["sites"].merge(tables()["patients"], on="patient_id").assign(Event=["A", "B", "A", "A"])
    flat.to_csv(tmp_path / "flat.csv", index=False)
    for name in ("instruments", "stops"):
        tables()[name].to_csv(tmp_path / f"{name}.csv", index=False)
    files = {"patients": "flat.csv", "sites": "flat.csv", "instruments": "instruments.csv", "stops": "stops.csv"}
    for words, lost in (("[A, B]", False), ("[A]", True)):
        only = f"{{patients: {{Event: {words}}}, sites: {{Event: [A]}}}}"
        write_plan(tmp_path, files, f"files: {{flat.csv: {{only_rows: {only}}}}}")
        rows = [problem for problem in map(str, check_study(read_plan(tmp_path))[1]) if "is no table's" in problem]
        assert len(rows) == lost


def test_each_word_that_no_row_has_is_told(tmp_path):
    said = "{sites.csv: {only_rows: {sites: {Event: [OP, Opertion, Redo]}}}}"
    problems = told(tmp_path, said, events("OP", "OP", "OP", "OP"))
    assert [word for word in ("OP", "Opertion", "Redo") if any(f'"{word}"' in one for one in problems)] == [
        "Opertion",
        "Redo",
    ]


OWN = "files: {more.csv: {only_rows: {sites: {Event: [Redo]}}}}"  # the last file has words of its own


@pytest.mark.parametrize(
    ("words", "own", "n_told"),
    [("[OP, Redo]", "", 0), ("[OP, Redo, Opertion]", "", 1), ("[OP]", OWN, 0), ("[OP, Opertion]", OWN, 1)],
)
def test_a_word_said_of_all_files_must_stand_in_one_of_them(tmp_path, words, own, n_told):
    write_study(tmp_path, events("OP", "OP", "OP", "OP"))
    more = tables()["sites"].assign(site_id=["t1", "t2", "t3", "t4"], operator_case_no=["11", "12", "11", "12"])
    more.assign(Event="Redo", tooth=["14", "24", "18", "14"]).to_csv(tmp_path / "more.csv", index=False)
    files = {name: f"{name}.csv" for name in tables()} | {"sites": ["sites.csv", "more.csv"]}
    write_plan(tmp_path, files, f"reading: {{only_rows: {{sites: {{Event: {words}}}}}}}\n{own}")
    _, problems = check_study(read_plan(tmp_path))
    assert len([problem for problem in problems if "no row has" in str(problem)]) == n_told, problems


# ── columns ─────────────────────────────────────────────────────────────────────────────────────

SHADOWED = [
    ("{columns: {sites: {rbh_max_mm: h}}}", True),
    ("{columns: {sites: {rbh_max_mm: h}}, ignore: [rbh_max_mm]}", False),
    ("{columns: {sites: {rbh_max_mm: {from: [rbh_max_mm, h], take: highest}}}}", False),
    ("{columns: {sites: {rbh_max_mm: h, bone_height_post_mm: rbh_max_mm}}, ignore: [bone_height_post_mm]}", False),
]


@pytest.mark.parametrize(("forms", "is_told"), SHADOWED)
def test_a_column_of_the_tables_own_name_is_not_dropped_for_another(tmp_path, forms, is_told):
    changes = {"sites": lambda sites: sites.assign(h=sites["rbh_max_mm"])}
    problems = told(tmp_path, f"{{sites.csv: {forms}}}", changes)
    assert len(problems) == is_told, problems
    assert all("has the column rbh_max_mm too" in problem for problem in problems)


def test_nor_for_a_group_of_columns(tmp_path):
    wide = pd.DataFrame({"site_id": ["s1"], "status": ["failed"], "bone_height_mm": ["9"], "a": ["functioning"]})
    said = "{columns: {visits: {each: [{months: 6, status: a}]}}, not_collected: {visits: [complication]}}"
    problems = told(tmp_path, f"{{visits.csv: {said}}}", {"visits": wide})
    assert len([problem for problem in problems if "has the column status too" in problem]) == 1, problems
    ignored = said.replace("}}, not", "}}, ignore: [status], not")
    assert told(tmp_path / "b", f"{{visits.csv: {ignored}}}", {"visits": wide}) == []


# ── repeated rows ───────────────────────────────────────────────────────────────────────────────


def test_repeated_chooses_in_a_file_of_one_table_too(tmp_path):
    twice = {"patients": added({"patient_id": "p3", "smoking": "current"})}
    said = "{patients.csv: {columns: {patients: {smoking: {from: smoking, repeated: last}}}}}"
    assert told(tmp_path / "a", said, twice) == []
    smoking = read_study(read_plan(tmp_path / "a")).tables["patients"]["smoking"]
    assert smoking.tolist() == ["never", "current", "current"]
    assert told(tmp_path / "b", "{patients.csv: {columns: {patients: {smoking: smoking}}}}", twice)
    other = {"patients": added({"patient_id": "p3", "smoking": "current", "age_years": "48"})}
    assert any("another age_years" in problem for problem in told(tmp_path / "c", said, other))


CONFIRMED = "reading: {not_recorded: [k.A.], levels: {smoking: {nie: never, ja: current}, centre: {N: north}}}"


@pytest.mark.parametrize(
    ("first", "second", "is_told"),
    [("never", "nie", 0), ("never", "k.A.", 0), ("k.A.", "never", 0), ("ja", "nie", 1), ("never", "unknown", 1)],
)
def test_repeated_rows_compare_as_what_their_words_mean(tmp_path, first, second, is_told):
    smoking = {"patients": lambda p: p.assign(smoking=["never", "current", first])}
    rows = {"patients": lambda p: added({"smoking": second, "centre": "N", "sex": "male"})(smoking["patients"](p))}
    said = "{patients.csv: {columns: {patients: {sex: {from: sex, repeated: first}}}}}"
    north = {"patients": lambda p: rows["patients"](p.assign(centre="north"))}
    problems = told(tmp_path, said, north, CONFIRMED)
    assert len(problems) == is_told, problems
    if not is_told:
        assert read_study(read_plan(tmp_path)).tables["patients"]["smoking"].tolist() == ["never", "current", "never"]


def test_a_word_for_missing_alone_in_repeated_rows_stays_one(tmp_path):
    rows = {"patients": lambda p: added({"smoking": ""})(p.assign(smoking=["never", "current", "k.A."]))}
    said = "{patients.csv: {columns: {patients: {sex: {from: sex, repeated: first}}}}}"
    assert told(tmp_path, said, rows, CONFIRMED) == []
    assert read_study(read_plan(tmp_path)).tables["patients"]["smoking"].tolist() == ["never", "current", "unknown"]


def test_one_sheet_under_two_labels_is_one_file(tmp_path):
    flat = tables()["sites"].merge(tables()["patients"], on="patient_id")
    book = openpyxl.Workbook()
    book.active.title = "Blatt"
    for row in [list(flat), *flat.to_numpy().tolist()]:
        book.active.append(row)
    book.save(tmp_path / "b.xlsx")
    for name in ("instruments", "stops"):
        tables()[name].to_csv(tmp_path / f"{name}.csv", index=False)
    of_drills = {"instruments": "instruments.csv", "stops": "stops.csv"}
    read = []
    for patients, sites in (("b.xlsx", "b.xlsx#Blatt"), ("b.xlsx#Blatt", "b.xlsx"), ("b.xlsx", "b.xlsx")):
        write_plan(tmp_path, {"patients": patients, "sites": sites, **of_drills})
        intake, problems = check_study(read_plan(tmp_path))
        assert not problems
        read.append([intake.tables[name].to_csv() for name in ("patients", "sites")])
    assert read[0] == read[1] == read[2]


def test_two_sheets_of_one_workbook_stay_two(tmp_path):
    write_study(tmp_path, ending="xlsx")
    files = {name: f"study.xlsx#{name}" for name in tables()} | {"patients": "study.xlsx"}
    write_plan(tmp_path, files)
    _, problems = check_study(read_plan(tmp_path))
    assert problems == []
