"""What a finding or a decision is filed under and says: its rule, its column, its place in the list, what to do."""

from __future__ import annotations

import openpyxl
import pandas as pd
import pytest
from studies import added, cell, tables, write_plan, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

EMAIL = "zebedee@example.org"


def filed(folder) -> list[tuple]:
    findings = check_study(read_plan(folder))[0].findings
    return list(findings[["table", "column", "rule"]].itertuples(index=False, name=None))


def test_a_missing_column_is_filed_under_itself(tmp_path):
    folder = write_study(tmp_path, {"instruments": lambda table: table.drop(columns="guide_shank_mm")})
    assert filed(folder) == [("instruments", "guide_shank_mm", "column_is_there")]


def test_a_header_of_no_column_of_the_schema_is_filed_under_none(tmp_path):
    folder = write_study(tmp_path, {"patients": lambda patients: patients.assign(surname="x")})
    assert filed(folder) == [
        ("patients", "", "column_is_known"),
        ("patients", "", "header_is_no_identifier"),
    ]


@pytest.mark.parametrize(
    ("column", "reading"),
    [("protocol", "cleared: {sites: [protocol]}"), ("memo", "ignore: [memo], cleared: {sites: [memo]}")],
)
def test_a_cleared_column_is_filed_under_its_name(tmp_path, column, reading):
    folder = write_study(tmp_path, {"sites": cell(3, column, EMAIL)}, plan=f"reading: {{{reading}}}")
    intake, problems = check_study(read_plan(folder))
    (told,) = intake.decisions.itertuples()
    assert (problems, told.column, told.place) == ([], column, f"sites.csv, {column}")
    assert told.stood == "a column that the user declares free of identifiers"
    assert told.taken_for == "as it stands, without the identifier screen"


def test_a_column_without_a_name_is_cleared_by_no_word(tmp_path):
    """`none` least of all, which is how Python writes an empty cell of a workbook."""
    folder = write_study(tmp_path, ending="xlsx", plan="reading: {ignore: [none], cleared: {sites: [none]}}")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["sites"].cell(3, book["sites"].max_column + 1).value = EMAIL
    book.save(folder / "study.xlsx")
    assert ("sites", "", "text_is_no_identifier") in filed(folder)


def test_words_of_the_study_come_first_in_their_own_order(tmp_path):
    changes = {"sites": cell(2, "rbh_min_mm", "21"), "patients": cell(2, "age_years", "200")}
    folder = write_study(tmp_path, changes, plan=f"study: {{title: of {EMAIL}, question: from {EMAIL}}}")
    places = [problem.place for problem in check_study(read_plan(folder))[1]]
    assert places == [
        "study.yaml, study, title",
        "study.yaml, study, question",
        "patients.csv, row 2, age_years",
        "sites.csv, row 2, rbh_min_mm",
    ]


def test_a_title_is_to_be_written_anew_and_a_file_to_be_renamed(tmp_path):
    made = tables()
    labels = {name: f"{name}.csv" for name in made} | {"stops": f"{EMAIL}.csv"}
    for name, table in made.items():
        table.to_csv(tmp_path / labels[name], index=False)
    write_plan(tmp_path, labels, f"study: {{title: of {EMAIL}}}")
    title, file = map(str, check_study(read_plan(tmp_path))[1])
    assert title == "study.yaml, study, title: holds what looks like an e-mail address. Write it without."
    assert file == "study.yaml, tables, stops: holds what looks like an e-mail address. Rename the file or sheet."


def test_a_title_above_the_header_is_filed_under_no_column(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["sites"].insert_rows(1, 2)
    book["sites"]["A1"], book["sites"]["B2"] = "All sites of the series", EMAIL
    book.save(folder / "study.xlsx")
    (found,) = check_study(read_plan(folder))[0].findings.itertuples()
    assert (found.column, found.value_class, found.rule) == ("", "text", "text_is_no_identifier")


def test_an_identifier_among_texts_may_have_another_fault_as_well(tmp_path):
    """No check quotes a text, as they do numbers."""
    assert filed(write_study(tmp_path, {"steps": cell(2, "site_id", EMAIL)})) == [
        ("steps", "site_id", "text_is_no_identifier"),
        ("steps", "site_id", "reference_is_known"),
    ]


@pytest.mark.parametrize(
    ("site", "status", "says"),
    [
        ("s2", "functioning", "seen after the patient's death in row 6."),
        ("s2", "patient_died", "a second death after the one in row 6."),
        ("s1", "functioning", "works after it failed in row 4."),
    ],
)
def test_what_came_before_is_named_with_its_row(tmp_path, site, status, says):
    visit = {"site_id": site, "months": "30", "status": status, "complication": "none"}
    visit |= {"complication": ""} if status == "patient_died" else {}
    (problem,) = check_study(read_plan(write_study(tmp_path, {"visits": added(visit)})))[1]
    assert str(problem) == f"visits.csv, row 9, status: {says} Correct the status or months of one of the two."


@pytest.mark.parametrize(("row", "marking", "drill", "within"), [(5, "22", "13", "guide"), (7, "12.25", "12", "stop")])
def test_a_tip_stays_in_the_guide_or_in_the_stop(tmp_path, row, marking, drill, within):
    long = {"stop_id": "long", "marking_means": "length", "marking_mm": marking, "marked_on_length_mm": ""}
    folder = write_study(tmp_path, {"stops": added(long), "steps": cell(row, "stop_id", "long")})
    (problem,) = check_study(read_plan(folder))[1]
    taken = f"the stop takes {marking} mm off an instrument of {drill} mm, so that its tip stays in the {within}. "
    assert str(problem) == (
        f"steps.csv, row {row}, stop_id: {taken}Correct it, or the lengths in stops or instruments."
    )


def test_a_key_in_two_files_is_filed_under_the_key(tmp_path):
    made = tables()
    labels = {name: f"{name}.csv" for name in made} | {"patients": ["patients.csv", "north.csv"]}
    for name, table in made.items():
        table.to_csv(tmp_path / f"{name}.csv", index=False)
    made["patients"][:1].to_csv(tmp_path / "north.csv", index=False)
    write_plan(tmp_path, labels)
    assert filed(tmp_path) == [("patients", "patient_id", "key_is_unique")]


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("rbh_max_mm", "21", "21 is above 20, the highest that is allowed"),
        ("rbh_min_mm", "0", "0 is not above 0"),
        ("implant_diameter_mm", "2.4", "2.4 is below 2.5, the lowest that is allowed"),
    ],
)
def test_a_number_out_of_range_is_told_with_the_bound(tmp_path, column, value, says):
    (problem,) = check_study(read_plan(write_study(tmp_path, {"sites": cell(2, column, value)})))[1]
    assert str(problem) == f"sites.csv, row 2, {column}: {says}; it is meant in mm. Correct the cell."


def test_a_number_that_is_no_level_is_told_with_all_of_them(tmp_path):
    (problem,) = check_study(read_plan(write_study(tmp_path, {"sites": cell(2, "bone_quality", "5")})))[1]
    assert str(problem) == "sites.csv, row 2, bone_quality: 5 is none of 1, 2, 3, 4. Correct the cell."


def test_a_length_far_above_the_others_lacks_a_decimal_mark(tmp_path):
    sites = tables()["sites"]
    many = [sites.assign(site_id=sites["site_id"] + f"-{copy}") for copy in range(6)]
    stacked = pd.concat(many, ignore_index=True)
    stacked.loc[4, "guide_offset_mm"] = "90"
    folder = write_study(tmp_path, {"sites": lambda _: stacked, "steps": lambda t: t[:0], "visits": lambda t: t[:0]})
    (told,) = check_study(read_plan(folder))[0].decisions.itertuples()
    assert (told.place, told.stood) == (
        "sites.csv, row 6, guide_offset_mm",
        "a number far above the others of its column",
    )
    assert told.taken_for == "90 mm as it stands; to be looked up, as it would be 9 mm if a decimal mark is missing"


@pytest.mark.parametrize(("platform", "told"), [("-13.5", ["a pass that ends 0.5 mm above the crest"]), ("-12.5", [])])
def test_a_drill_without_a_stop_reaches_its_whole_length(tmp_path, platform, told):
    """13 mm, with the shoulder 13.5 or 12.5 mm above the crest."""
    changes = {"sites": cell(2, "platform_depth_mm", platform), "steps": lambda steps: steps[:1].assign(stop_id="")}
    decisions = check_study(read_plan(write_study(tmp_path, changes)))[0].decisions
    assert decisions["stood"].tolist() == told
    assert decisions["column"].tolist() == ["instrument_id"] * len(told)
