"""Every kind of fault is refused at its place, under its rule, and is the only thing said."""

from __future__ import annotations

import pytest
from studies import added, cell, cells, write_study

from liftseries.intake.study import check_study, read_study
from liftseries.plan import read_plan


def found(folder) -> set[tuple[str, str]]:
    findings = check_study(read_plan(folder))[0].findings
    assert len(findings) == len(findings[["place", "rule"]].drop_duplicates())
    return set(findings[["place", "rule"]].itertuples(index=False, name=None))


# What stands in one cell of an otherwise sound row: table, column, what is typed, rule.
CELL_FAULTS = [
    ("patients", "centre", "", "value_is_given"),
    ("patients", "age_years", "", "value_is_given"),
    ("patients", "age_years", "fifty", "value_is_a_whole_number"),
    ("patients", "age_years", "54.5", "value_is_a_whole_number"),
    ("patients", "age_years", "15", "value_is_in_range"),
    ("patients", "age_years", "111", "value_is_in_range"),
    ("patients", "sex", "neither", "value_is_a_level"),
    ("patients", "smoking", "sometimes", "value_is_a_level"),
    ("patients", "diabetes", "NA", "value_is_a_level"),
    ("sites", "operator", "", "value_is_given"),
    ("sites", "operator_case_no", "0", "value_is_in_range"),
    ("sites", "surgery_year", "20190304", "value_is_in_range"),
    ("sites", "tooth", "13", "value_is_a_level"),
    ("sites", "tooth", "1.6", "value_is_a_whole_number"),
    ("sites", "approach", "by hand", "value_is_a_level"),
    ("sites", "rbh_min_mm", "0", "value_is_in_range"),
    ("sites", "rbh_min_mm", "n/a", "value_is_a_number"),
    ("sites", "rbh_min_mm", "5.2 mm", "value_is_a_number"),
    ("sites", "rbh_min_mm", "1e999", "value_is_finite"),
    ("sites", "rbh_max_mm", "20.5", "value_is_in_range"),
    ("sites", "rbh_max_mm", "1.234,5", "value_is_a_number"),
    ("sites", "rbh_min_mm", "19", "lowest_is_not_above_highest"),
    ("sites", "soft_tissue_mm", "-1", "value_is_in_range"),
    ("sites", "implant_diameter_mm", "2.4", "value_is_in_range"),
    ("sites", "implant_length_mm", "21", "value_is_in_range"),
    ("sites", "platform_depth_mm", "", "value_is_given"),
    ("sites", "guide_offset_mm", "", "value_is_given_where_needed"),
    ("sites", "septum", "perhaps", "value_is_a_level"),
    ("sites", "graft", "", "value_is_given"),
    ("sites", "perforation", "torn", "value_is_a_level"),
    ("sites", "perforation_stage", "later", "value_is_a_level"),
    ("sites", "bone_quality", "5", "value_is_a_level"),
    ("sites", "isq", "101", "value_is_in_range"),
    ("sites", "placement", "never", "value_is_a_level"),
    ("sites", "healing", "", "value_is_given_where_needed"),
    ("sites", "patient_id", "nobody", "reference_is_known"),
]


def test_all_faulty_cells_are_found_in_one_pass(tmp_path):
    """Each on a row of its own; the set found is the set seeded, none caused by another."""
    patients = [({"patient_id": f"q{i}"}, fault) for i, fault in enumerate(CELL_FAULTS) if fault[0] == "patients"]
    guided = {"patient_id": "p1", "approach": "guided", "guide_offset_mm": "9", "placement": "", "healing": "submerged"}
    sites = [({"site_id": f"t{i}", **guided}, fault) for i, fault in enumerate(CELL_FAULTS) if fault[0] == "sites"]
    changes, seeded = {}, set()
    for table, rows, first in (("patients", patients, 5), ("sites", sites, 6)):
        changes[table] = added(*({**row, column: typed} for row, (_, column, typed, _) in rows))
        for number, (_, (_, column, _, rule)) in enumerate(rows, start=first):
            seeded.add((f"{table}.csv, row {number}, {column}", rule))
    assert len(seeded) == len(CELL_FAULTS)
    assert found(write_study(tmp_path, changes)) == seeded


# A fault across cells, rows or tables: what is changed, where and under which rule it is told.
STORIES = {
    "a key twice": ("patients", added({"patient_id": "p1"}), ("row 5, patient_id", "key_is_unique")),
    "a visit twice": ("visits", added({"months": "6"}), ("row 9, months", "key_is_unique")),
    "a step twice": ("steps", cell(3, "step_no", "1"), ("row 3, step_no", "key_is_unique")),
    "a pass of no site": ("steps", added({"site_id": "s9", "step_no": "1"}), ("row 9, site_id", "reference_is_known")),
    "a visit of no site": ("visits", cell(2, "site_id", "s9"), ("row 2, site_id", "reference_is_known")),
    "an unknown instrument": ("steps", cell(2, "instrument_id", "x"), ("row 2, instrument_id", "reference_is_known")),
    "an unknown stop": ("steps", cell(2, "stop_id", "x"), ("row 2, stop_id", "reference_is_known")),
    "a gap in the log": ("steps", cell(4, "step_no", "4"), ("row 4, step_no", "steps_have_no_gap")),
    "a log from step 2": ("steps", cell(7, "step_no", "3"), ("row 8, step_no", "steps_have_no_gap")),
    "step 0": ("steps", cell(2, "step_no", "0"), ("row 2, step_no", "value_is_in_range")),
    "another approach's drill": (
        "steps", cells((2, "instrument_id", "hand-12"), (2, "stop_id", "off-8")),
        ("row 2, instrument_id", "instrument_fits_the_site"),
    ),
    "a stop that swallows the drill": (
        "stops", cell(3, "marking_mm", "13.5"), ("steps.csv, rows", "stop_is_shorter_than_the_instrument"),
    ),
    "life after failure": (
        "visits", added({"site_id": "s1", "months": "30", "status": "functioning"}),
        ("row 9, status", "no_life_after_failure"),
    ),
    "life after death": (
        "visits", added({"site_id": "s2", "months": "30", "status": "functioning"}),
        ("row 9, status", "no_life_after_death"),
    ),
    "two deaths at a site": (
        "visits", added({"site_id": "s2", "months": "30", "status": "patient_died"}),
        ("row 9, status", "one_death_a_patient"),
    ),
    "two deaths of a patient": (
        # s2 and s3 are p2's, both of 2019; s3 was staged, so its months say little: make it same_day.
        {
            "sites": cell(4, "placement", "same_day"),
            "visits": added({"site_id": "s3", "months": "26", "status": "patient_died"}),
        },
        None, ("visits.csv, row 9, status", "one_death_a_patient"),
    ),
    "a negative month": ("visits", cell(2, "months", "-1"), ("row 2, months", "value_is_in_range")),
    "no complication told": (
        "visits", cell(2, "complication", ""), ("row 2, complication", "value_is_given_where_needed"),
    ),
    "an offset freehand": (
        "sites", cell(4, "guide_offset_mm", "9"), ("row 4, guide_offset_mm", "value_is_absent_where_not_allowed"),
    ),
    "a shank freehand": (
        "instruments", cell(4, "guide_shank_mm", "9"),
        ("row 4, guide_shank_mm", "value_is_absent_where_not_allowed"),
    ),
    "a guided drill without its shank": (
        "instruments", cell(2, "guide_shank_mm", ""), ("row 2, guide_shank_mm", "value_is_given_where_needed"),
    ),
    "a depth stop for no length": (
        "stops", cell(4, "marked_on_length_mm", ""), ("row 4, marked_on_length_mm", "value_is_given_where_needed"),
    ),
    "a length stop for a length": (
        "stops", cell(2, "marked_on_length_mm", "13"),
        ("row 2, marked_on_length_mm", "value_is_absent_where_not_allowed"),
    ),
    "a marked depth beyond the instrument": (
        "stops", cell(4, "marking_mm", "14"), ("row 4, marking_mm", "marked_depth_is_within_the_instrument"),
    ),
    "an instrument of length 0": ("instruments", cell(2, "length_mm", "0"), ("row 2, length_mm", "value_is_in_range")),
}  # fmt: skip


@pytest.mark.parametrize("story", STORIES)
def test_fault_is_told_once_at_its_place(tmp_path, story):
    table, change, (place, rule) = STORIES[story]
    changes = table if change is None else {table: change}
    seen = found(write_study(tmp_path, changes))
    if place == "steps.csv, rows":  # told where the stop was used: three passes
        assert seen == {(f"steps.csv, row {row}, stop_id", rule) for row in (2, 3)}
    else:
        assert seen == {(place if change is None else f"{table}.csv, {place}", rule)}


def test_fault_in_a_workbook_is_told_by_sheet_and_cell(tmp_path):
    study = write_study(tmp_path, {"visits": cell(3, "months", "-2")}, ending="xlsx")
    assert found(study) == {("study.xlsx, sheet visits, cell B3, months", "value_is_in_range")}


@pytest.mark.parametrize(
    "changes",
    [
        {"visits": added({"site_id": "s1", "months": "30", "status": "failed"})},  # still failed is no life
        {"visits": added({"site_id": "s2", "months": "30", "status": "not_examined"})},
        {"visits": added({"site_id": "s3", "months": "20", "status": "patient_died"})},  # can be s2's death in month 14
        {"sites": cell(2, "rbh_min_mm", "6.1")},  # lowest = highest
        {"stops": cell(4, "marking_mm", "13")},
        {"steps": cells((2, "stop_id", ""), (3, "stop_id", ""), (4, "stop_id", ""))},
        {"sites": cell(5, "healing", "")},  # no implant, nothing to heal
        {"patients": cell(2, "sex", "FEMALE")},
    ],
)
def test_what_is_allowed_is_not_refused(tmp_path, changes):
    assert found(write_study(tmp_path, changes)) == set()


CANARY = "Zebedee Quillfeather"


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_no_text_cell_is_ever_quoted(tmp_path, ending):
    """A name typed into any cell, header included, stands in no message and in no table that a run leaves."""
    from studies import tables

    columns = [(table, column) for table, frame in tables().items() for column in frame.columns]
    for table, column in columns[:: 3 if ending == "csv" else 11]:
        folder = tmp_path / f"{table}-{column}"
        study = write_study(folder, {table: cell(3, column, CANARY)}, ending=ending, plan="invalid_rows: set_aside")
        intake, problems = check_study(read_plan(study))
        told = "".join(map(str, problems)) + intake.findings.to_csv() + intake.set_aside.to_csv()
        for part in CANARY.lower().split():
            assert part not in told.lower(), (table, column)


def test_canary_in_a_header_is_not_quoted(tmp_path):
    study = write_study(tmp_path, {"sites": lambda sites: sites.assign(**{CANARY: "1"})})
    _, (problem,) = check_study(read_plan(study))
    assert "quillfeather" not in str(problem).lower()


def test_sound_study_passes_both_ways(tmp_path):
    plan = read_plan(write_study(tmp_path))
    intake, problems = check_study(plan)
    assert problems == []
    assert read_study(plan).counts.equals(intake.counts)
