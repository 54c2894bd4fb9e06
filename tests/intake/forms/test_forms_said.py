"""What may be said of a file, and what is refused: each planted case beside an innocent neighbour."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import cell, cells, tables, write_plan, write_study

from liftseries.base.errors import StudyError
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan


def told(folder, files: str, changes=None, more: str = "") -> list[str]:
    """Every problem of a small study whose study.yaml says this of its files."""
    write_study(folder, changes or {}, plan=f"{more}\nfiles: {files}")
    try:
        return list(map(str, check_study(read_plan(folder))[1]))
    except StudyError as error:
        return list(map(str, error.problems))


REFUSED = [
    ("{sites.csv: {constants: {sites: {tooth: 16}}}}", "can be no constant"),
    ("{sites.csv: {constants: {sites: {site_id: a}}}}", "a key is each row's own"),
    ("{sites.csv: {constants: {sites: {bone_height_post_mm: 9}}}}", "can be no constant"),
    ("{sites.csv: {constants: {sites: {approach: guided}}}}", "has the column approach"),
    ("{sites.csv: {not_collected: {sites: [patient_id]}}}", "keys, references and teeth"),
    ("{sites.csv: {empty_means: {sites: {soft_tissue_mm: 2}}}}", "a level of a category, or 0 of a volume"),
    ("{sites.csv: {empty_means: {sites: {lift_method: fluid}}}}", "has no such column"),
    ("{sites.csv: {columns: {sites: {torque_ncm: {from: torque_ncm, unit: 3.5}}}}}", "no factor"),
    ("{sites.csv: {columns: {sites: {torque_ncm: {from: torque_ncm, unit: furlong}}}}}", "no unit that is known"),
    (
        "{sites.csv: {columns: {sites: {surgery_year: {from: [a, b], take: year}}}}}",
        "liftseries pseudonymise --reading",
    ),
    ("{sites.csv: {columns: {sites: {tooth: {from: tooth, factor: 2}}}}}", '"factor" is not a known key'),
    ("{sites.csv: {columns: {sites: {rbh_min_mm: {from: [a, b]}}}}}", "one of `join` and `take`"),
    ("{sites.csv: {columns: {sites: {tooth: '?'}}}}", "still a question"),
    ("{sites.csv: {headers: 2}}", '"headers" is not a known key'),
    ("{site.csv: {prefix: N}}", "is no file of `tables`"),
    ("{sites.csv: reading/none.yaml}", "there is no such file"),
    ("{sites.csv: ../outside.yaml}", "inside the study folder"),
    ("{sites.csv: {header_rows: [99]}}", "names row 99"),
    ("{sites.csv: {encoding: cp0}}", "no encoding"),
]


@pytest.mark.parametrize(("files", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_what_the_contract_refuses_is_refused(tmp_path, files, message):
    assert any(message in problem for problem in told(tmp_path, files)), told(tmp_path, files)


ALLOWED = [
    "{sites.csv: {constants: {sites: {lift_method: fluid}}}}",
    "{sites.csv: {not_collected: {sites: [isq]}}}",
    "{sites.csv: {empty_means: {sites: {perforation_test: none}}}}",
    "{sites.csv: {columns: {sites: {torque_ncm: {from: torque_ncm, unit: N cm}}}}}",
    "{sites.csv: {encoding: utf-8, separator: comma, decimal: .}}",
    "{}",
]


@pytest.mark.parametrize("files", ALLOWED)
def test_its_neighbours_are_not(tmp_path, files):
    assert told(tmp_path, files) == []


def test_what_is_said_of_a_file_goes_before_what_is_said_of_all_entry_by_entry(tmp_path):
    common = "reading: {levels: {smoking: {ja: current, nein: never}}}"
    changes = {"patients": cells((2, "smoking", "ja"), (3, "smoking", "nein"))}
    own = "{patients.csv: {levels: {smoking: {ja: former}}}}"
    assert told(tmp_path / "a", own, changes, common) == []
    smoking = read_study(read_plan(tmp_path / "a")).tables["patients"]["smoking"]
    assert smoking.tolist() == ["former", "never", "former"]
    cancelled = told(tmp_path / "b", "{patients.csv: {levels: {smoking: {ja: ~}}}}", changes, common)
    assert len(cancelled) == 1
    assert "row 2" in cancelled[0]


def test_a_column_of_the_nearest_section_holds(tmp_path):
    """All files lack it, but one file has it: no contradiction to be cancelled by hand."""
    common = "reading: {not_collected: {sites: [isq]}}"
    assert told(tmp_path, "{sites.csv: {constants: {sites: {isq: 70}}}}", None, common) == []


def test_a_key_in_two_files_is_one_problem_and_a_prefix_mends_it(tmp_path):
    write_study(tmp_path)
    drawn = tables()
    for name in ("patients", "sites", "steps", "visits"):
        drawn[name].to_csv(tmp_path / f"b_{name}.csv", index=False)
    both = {name: [f"{name}.csv", f"b_{name}.csv"] for name in ("patients", "sites", "steps", "visits")}
    files = {**both, "instruments": "instruments.csv", "stops": "stops.csv"}
    write_plan(tmp_path, files)
    _, problems = check_study(read_plan(tmp_path))
    assert len([problem for problem in problems if "sites" in problem.place]) == 1
    prefixed = ", ".join(f"b_{name}.csv: {{prefix: B}}" for name in both)
    write_plan(tmp_path, files, f"files: {{{prefixed}}}")
    _, problems = check_study(read_plan(tmp_path))
    assert problems == []


def test_a_prefix_leaves_a_sign_for_missing_alone(tmp_path):
    problems = told(
        tmp_path, "{sites.csv: {prefix: N}, patients.csv: {prefix: N}}", {"sites": cell(2, "operator", "-")}
    )
    assert any("operator" in problem for problem in problems)


def test_rows_of_a_key_that_contradict_each_other_are_told_and_repeated_chooses(tmp_path):
    flat = tables()["sites"].merge(tables()["patients"], on="patient_id")
    flat.loc[flat["site_id"] == "s3", "age_years"] = "62"  # of the patient of s2, who was 61 before
    tmp_path.mkdir(exist_ok=True)
    flat.to_csv(tmp_path / "flat.csv", index=False)
    for name in ("instruments", "stops"):
        tables()[name].to_csv(tmp_path / f"{name}.csv", index=False)
    files = {"patients": "flat.csv", "sites": "flat.csv", "instruments": "instruments.csv", "stops": "stops.csv"}
    write_plan(tmp_path, files)
    _, problems = check_study(read_plan(tmp_path))
    assert len(problems) == 1
    assert "same key and another age_years" in problems[0].message
    said = "files: {flat.csv: {columns: {patients: {age_years: {from: age_years, repeated: last}}}}}"
    write_plan(tmp_path, files, said)
    assert read_study(read_plan(tmp_path)).tables["patients"]["age_years"].tolist() == [54, 62, 47]


def test_an_ignored_column_is_screened_for_identifiers(tmp_path):
    remarks = {"sites": lambda sites: sites.assign(Note=["", "someone@clinic.example", "", ""])}
    ignored = told(tmp_path / "a", "{sites.csv: {ignore: [Note]}}", remarks)
    assert len(ignored) == 1
    assert "someone" not in ignored[0]
    harmless = {"sites": lambda sites: sites.assign(Note=["", "bled", "", ""])}
    assert told(tmp_path / "b", "{sites.csv: {ignore: [Note]}}", harmless) == []


@pytest.mark.parametrize(
    ("stands", "forms", "expected"),
    [
        ("4,2/8", "{from: size, part: 1}", 4.2),
        ("Ø 4.2 x 8 mm", "{from: size, part: 1}", 4.2),
        ("0,42", "{from: size, unit: cm}", 4.2),
        ("big", "{from: size, words: {big: 4.2}}", 4.2),
    ],
)
def test_a_cell_becomes_the_number_that_it_holds(tmp_path, stands, forms, expected):
    changes = {"sites": lambda sites: sites.assign(size=stands).drop(columns="implant_diameter_mm")}
    said = f"{{sites.csv: {{columns: {{sites: {{implant_diameter_mm: {forms}}}}}}}}}"
    assert told(tmp_path, said, changes) == []
    assert set(read_study(read_plan(tmp_path)).tables["sites"]["implant_diameter_mm"]) == {expected}


def test_other_than_two_parts_is_refused_at_its_cell(tmp_path):
    sizes = ["4.1/9", "4.1/8.5/3", "4.8/9", "3.6/9.5"]
    changes = {"sites": lambda sites: sites.assign(size=sizes).drop(columns="implant_diameter_mm")}
    problems = told(tmp_path, "{sites.csv: {columns: {sites: {implant_diameter_mm: {from: size, part: 1}}}}}", changes)
    assert len(problems) == 1
    assert "row 3" in problems[0]


@pytest.mark.parametrize("ending", ["xlsx", "parquet"])
def test_forms_hold_for_every_kind_of_file(tmp_path, ending):
    renamed = {"patients": lambda patients: patients.rename(columns={"age_years": "Alter"})}
    label = "study.xlsx#patients" if ending == "xlsx" else "patients.parquet"
    said = f"files: {{'{label}': {{prefix: N, columns: {{patients: {{age_years: Alter}}}}}}}}"
    write_study(tmp_path, renamed, ending, said)
    _, problems = check_study(read_plan(tmp_path))
    assert problems  # the sites' patients have no prefix
    assert not any("age_years" in str(problem) for problem in problems)


def test_a_table_without_rows_and_one_patient_are_read(tmp_path):
    empty = {"visits": lambda visits: visits.iloc[:0]}
    assert told(tmp_path, "{visits.csv: {columns: {visits: {status: status}}, prefix: ''}}", empty) == []


def test_hostile_headers_are_not_evaluated(tmp_path):
    changes = {"patients": lambda p: p.rename(columns={"age_years": "=1+1 {x} $(y)\nz"})}
    said = '{patients.csv: {columns: {patients: {age_years: "=1+1 {x} $(y) z"}}}}'
    assert told(tmp_path, said, changes) == []


def test_a_table_of_wide_visits_set_aside_keeps_its_count(tmp_path):
    """Two visits of one row of the file: one is refused, and nothing is counted twice or lost."""
    wide = pd.DataFrame({"site_id": ["s1", "s2"], "a": ["functioning", "functioning"], "b": ["what?", "functioning"]})
    said = "{visits.csv: {columns: {visits: {each: [{months: 6, status: a}, {months: 12, status: b}]}}, "
    said += "not_collected: {visits: [complication]}}}"
    write_study(tmp_path, {"visits": wide}, plan=f"invalid_rows: set_aside\nfiles: {said}")
    intake = read_study(read_plan(tmp_path))
    counts = intake.counts.set_index("table").loc["visits"]
    assert (counts["read"], counts["kept"], counts["set_aside"]) == (4, 2, 2)
