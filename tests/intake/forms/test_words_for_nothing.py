"""A sign for a missing value makes no row of its own, and a tooth's word no part of an id."""

from __future__ import annotations

import pandas as pd
import pytest
from intake_forms import WEST_FORMS, drawn, of_patients, write_sued, write_west
from studies import tables, write_plan

from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan

CONFIRMED = 'not_recorded: ["-"]\n'


def west_with_signs(folder, forms: str):
    """The file with visits in columns, a hyphen where nothing stands; the first site's second visit is all hyphens."""
    folder.mkdir()
    study = of_patients(drawn(), ["p3"])
    write_west(folder / "west.csv", study)
    table = pd.read_csv(folder / "west.csv", dtype=str, keep_default_na=False)
    later = [name for name in table if name.endswith(" 10m")]
    table[later] = "-"
    table.to_csv(folder / "west.csv", index=False)
    (folder / "reading").mkdir()
    (folder / "reading" / "west.yaml").write_text(forms, encoding="utf-8")
    for name in ("instruments", "stops"):
        tables()[name].to_csv(folder / f"{name}.csv", index=False)
    files = dict.fromkeys(("patients", "sites", "visits"), "west.csv")
    plan = {**files, "instruments": "instruments.csv", "stops": "stops.csv"}
    write_plan(folder, plan, "files: {west.csv: reading/west.yaml}")
    return read_plan(folder)


def test_a_group_of_signs_that_are_confirmed_is_no_visit_and_is_counted(tmp_path):
    intake, problems = check_study(west_with_signs(tmp_path / "study", CONFIRMED + WEST_FORMS))
    assert not problems
    assert intake.tables["visits"]["months"].tolist() == [6]
    counted = intake.decisions.set_index("rule")["n_cells"]
    assert counted["group_says_nothing"] == 1


def test_a_sign_that_nobody_has_confirmed_is_a_problem_of_a_visit(tmp_path):
    _, problems = check_study(west_with_signs(tmp_path / "study", WEST_FORMS))
    assert any("status" in str(problem) for problem in problems)


@pytest.mark.parametrize(("header", "expected"), [("Regio", "p2-26"), ("Fall", "p2-Fall 26")])
def test_the_word_beside_a_tooth_is_no_part_of_an_id_and_another_word_is(tmp_path, header, expected):
    """`Regio 26` is taken for the tooth, `Fall 26` is not."""
    study = of_patients(drawn(), ["p2"])
    study["visits"] = study["visits"].iloc[:0]
    write_sued(tmp_path / "sued.csv", study)
    table = pd.read_csv(tmp_path / "sued.csv", sep=";", dtype=str, keep_default_na=False, encoding="cp1252")
    table["Regio"] = "Regio " + table["tooth"]
    if header == "Fall":
        table["Fall"] = "Fall " + table["tooth"]
    table = table.drop(columns=["tooth", "Stelle", "Ereignis"])
    table.to_csv(tmp_path / "sued.csv", sep=";", index=False)
    site = f"{{site_id: {{from: [patient_id, {header}], join: '-'}}, tooth: Regio}}"
    columns = f"{{patients: {{age_years: Alter (Jahre)}}, sites: {site}}}"
    forms = f"{{decimal: ',', constants: {{patients: {{centre: north}}}}, columns: {columns}}}"
    for name in ("instruments", "stops"):
        tables()[name].to_csv(tmp_path / f"{name}.csv", index=False)
    plan = {"patients": "sued.csv", "sites": "sued.csv", "instruments": "instruments.csv", "stops": "stops.csv"}
    write_plan(tmp_path, plan, f"files: {{sued.csv: {forms}}}")
    assert expected in read_study(read_plan(tmp_path)).tables["sites"]["site_id"].tolist()
