"""Empty cells of outcomes that were filled, rows between those of `header_rows`, counts of what the tables hold."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import write_study

from liftseries.intake.corrections.lines import COLUMNS
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import TRUST

EMPTY_IS_NO = "files: {sites.csv: {empty_means: {sites: {perforation: no, septum: no}}}}"


def blank(table: str, column: str, row: int):
    def change(frame: pd.DataFrame) -> pd.DataFrame:
        frame.loc[row, column] = ""
        return frame

    return {table: change}


# ── outcomes that were empty ────────────────────────────────────────────────────────────────────
def filled(folder, changes, plan):
    return read_study(read_plan(write_study(folder, changes, plan=plan))).filled


def test_an_empty_outcome_is_listed_by_its_site(tmp_path):
    found = filled(tmp_path, blank("sites", "perforation", 3), EMPTY_IS_NO)
    assert found[["table", "column", "site_id"]].to_numpy().tolist() == [["sites", "perforation", "s4"]]


def test_a_full_column_and_a_column_that_is_no_outcome_are_not(tmp_path):
    assert filled(tmp_path / "full", {}, EMPTY_IS_NO).empty
    assert filled(tmp_path / "septum", blank("sites", "septum", 3), EMPTY_IS_NO).empty


def test_an_empty_outcome_of_a_visit_is_listed_with_its_months(tmp_path):
    plan = "files: {visits.csv: {empty_means: {visits: {complication: none}}}}"
    found = filled(tmp_path, {}, plan)
    assert found[["site_id", "months"]].to_numpy().tolist() == [["s2", 14.0], ["s3", 6.0]]


def test_rows_in_another_order_have_the_same_cells(tmp_path):
    def shuffled(frame: pd.DataFrame) -> pd.DataFrame:
        frame.loc[3, "perforation"] = ""
        return frame.iloc[::-1].reset_index(drop=True)

    first = filled(tmp_path / "a", blank("sites", "perforation", 3), EMPTY_IS_NO)
    pd.testing.assert_frame_equal(first, filled(tmp_path / "b", {"sites": shuffled}, EMPTY_IS_NO))


def test_a_corrected_cell_is_no_longer_one(tmp_path, monkeypatch):
    folder = write_study(tmp_path, blank("sites", "perforation", 3), plan=EMPTY_IS_NO)
    header = ",".join(COLUMNS)
    line = "1,sites,s4,perforation,empty,,yes,seen in the notes,dm1,2025-03-04,"
    (folder / "corrections.csv").write_text(f"{header}\n{line}\n", encoding="utf-8")
    assert len(read_study(read_plan(folder), corrections=False).filled) == 1
    monkeypatch.setenv(TRUST, "yes")
    assert read_study(read_plan(folder)).filled.empty


# ── rows between those of the header ────────────────────────────────────────────────────────────


def headed(folder, between: str, rows: str):
    folder = write_study(folder, plan=f"files: {{patients.csv: {{header_rows: {rows}, {FORMS}}}}}")
    table = (folder / "patients.csv").read_text(encoding="utf-8").splitlines()
    header = "patient_id,centre,age,sex,smoking,diabetes,periodontitis"
    lines = [header, *between.splitlines(), ",,years,,,,", *table[1:]]
    (folder / "patients.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    intake, problems = check_study(read_plan(folder))
    assert not problems
    return intake.decisions[intake.decisions["rule"].eq("row_between_header_rows_is_not_read")]


FORMS = "columns: {patients: {age_years: age years}}"


def test_a_filled_row_between_the_rows_of_names_is_told(tmp_path):
    told = headed(tmp_path, "of the patient,,,,,,", "[1, 3]")
    assert told["stood"].tolist() == ["1 filled row between the rows of `header_rows`, row 2"]


def test_an_empty_one_is_not_nor_rows_that_follow_each_other(tmp_path):
    assert headed(tmp_path / "empty", ",,,,,,", "[1, 3]").empty
    assert headed(tmp_path / "two", "", "[1, 2]").empty


# ── what stands in the tables is counted ────────────────────────────────────────────────────────
@pytest.mark.parametrize("form", ["constants: {patients: {centre: N}}", "not_collected: {patients: [diabetes]}"])
def test_a_constant_is_counted_once_a_row_of_the_table(tmp_path, form):
    """Patients are named by their sites: four rows of the file, three patients."""
    folder = write_study(tmp_path)
    patients, sites = (pd.read_csv(folder / f"{name}.csv", dtype=str) for name in ("patients", "sites"))
    gone = "centre" if "constants" in form else "diabetes"
    sites.merge(patients.drop(columns=gone), on="patient_id").to_csv(folder / "sites.csv", index=False)
    names = {name: f"{name}.csv" for name in ("sites", "steps", "visits", "instruments", "stops")}
    listed = "".join(f"  {name}: {file}\n" for name, file in {"patients": "sites.csv", **names}.items())
    (folder / "study.yaml").write_text(f"tables:\n{listed}files: {{sites.csv: {{{form}}}}}\n", encoding="utf-8")
    intake, problems = check_study(read_plan(folder))
    assert not problems
    counted = intake.decisions[intake.decisions["rule"].isin(["constant", "not_collected"])]
    assert counted["n_cells"].tolist() == [3]
