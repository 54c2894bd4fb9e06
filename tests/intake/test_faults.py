"""Every kind of fault is refused at its place, under its rule, and is the only thing said."""

from __future__ import annotations

import re

import pytest
from seeded import seeded
from studies import added, cell, cells, write_study

from liftseries.base.errors import StudyError
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan


def found(folder) -> set[tuple[str, str]]:
    findings = check_study(read_plan(folder))[0].findings
    assert len(findings) == len(findings[["place", "rule"]].drop_duplicates())
    return set(findings[["place", "rule"]].itertuples(index=False, name=None))


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_all_faults_are_found_in_one_pass_and_none_causes_another(tmp_path, ending):
    study = seeded()
    assert len({(table, column, rule) for table, _, column, rule in study.faults}) > 50
    assert found(write_study(tmp_path, study.tables, ending=ending)) == study.places(ending)


def test_all_problems_are_raised_in_file_order_and_say_what_to_do(tmp_path):
    study = seeded()
    with pytest.raises(StudyError) as error:
        read_study(read_plan(write_study(tmp_path, study.tables)))
    lines = [str(problem) for problem in error.value.problems]
    assert len(lines) == len(study.faults)
    tables = [line.split(".")[0] for line in lines]
    assert list(dict.fromkeys(tables)) == ["patients", "sites", "steps", "visits", "instruments", "stops"]
    for table in set(tables):
        rows = [int(re.search(r"row (\d+)", line)[1]) for line in lines if line.startswith(f"{table}.")]
        assert rows == sorted(rows)
    # What to do is the last sentence, and begins with a verb that tells.
    for line in lines:
        assert "\n" not in line
        assert re.search(r"[.] (Correct|Enter|Fill|Swap|Clear|A stop can't leave)[^.]*[.]$", line), line


def test_message_reads_as_the_house_says(tmp_path):
    study = write_study(tmp_path, {"sites": cells((2, "rbh_min_mm", "6.8"), (2, "rbh_max_mm", "5.2"))})
    (problem,) = check_study(read_plan(study))[1]
    assert str(problem).startswith("sites.csv, row 2, rbh_min_mm: 6.8 is above rbh_max_mm 5.2. Swap")


# ── none caused by another ────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changes", "place", "rule"),
    [
        # the approach is wrong, not the guide offset and not the instruments of the log
        ({"sites": cell(2, "approach", "by hand")}, "sites.csv, row 2, approach", "value_is_a_level"),
        # a row check needs both cells
        ({"sites": cell(2, "rbh_max_mm", "-3")}, "sites.csv, row 2, rbh_max_mm", "value_is_in_range"),
        # the status can't be read, so whether a complication is needed can't be told
        ({"visits": cell(6, "status", "gone")}, "visits.csv, row 6, status", "value_is_a_level"),
    ],
)
def test_a_fault_brings_no_other(tmp_path, changes, place, rule):
    assert found(write_study(tmp_path, changes)) == {(place, rule)}


def test_more_dangling_references_than_unreadable_keys_are_told(tmp_path):
    changes = {
        "patients": cell(2, "patient_id", ""),
        "sites": added({"site_id": "s5", "patient_id": "nobody"}),
    }
    expected = {("patients.csv, row 2, patient_id", "value_is_given")}
    expected |= {(f"sites.csv, row {row}, patient_id", "reference_is_known") for row in (2, 6)}
    assert found(write_study(tmp_path, changes)) == expected


@pytest.mark.parametrize("table", ["instruments", "stops"])
def test_an_empty_table_knows_no_keys(tmp_path, table):
    """Only patients and sites must hold rows, so nothing else would tell of these."""
    columns = {"instruments": "instrument_id", "stops": "stop_id"}
    study = write_study(tmp_path, {table: lambda frame: frame.iloc[:0]})
    rows = range(2, 9) if table == "instruments" else range(2, 8)
    assert found(study) == {(f"steps.csv, row {row}, {columns[table]}", "reference_is_known") for row in rows}


def test_what_is_allowed_is_not_refused(tmp_path):
    changes = {
        "sites": cells((2, "rbh_min_mm", "6.1"), (5, "healing", "")),  # lowest = highest; no implant, no healing
        "steps": cells((2, "stop_id", ""), (3, "stop_id", ""), (4, "stop_id", "")),
        "patients": cell(2, "sex", "FEMALE"),
    }
    assert found(write_study(tmp_path, changes)) == set()


def test_sound_study_passes_both_ways(tmp_path):
    plan = read_plan(write_study(tmp_path))
    intake, problems = check_study(plan)
    assert problems == []
    assert read_study(plan).counts.equals(intake.counts)
