"""`liftseries map`: drafts from headers, doubts refused by check, what is there left as it is."""

from __future__ import annotations

import re

import pytest
from intake_forms import all_forms, drawn, write_three

from liftseries.base.errors import StudyError
from liftseries.base.plain_yaml import load_yaml
from liftseries.cli import main
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan


@pytest.fixture
def three(tmp_path):
    return write_three(tmp_path / "three", drawn(), "")


def test_a_draft_is_refused_by_check_until_its_questions_are_answered(three, capsys):
    text = (three / "study.yaml").read_text(encoding="utf-8")
    assert main(["map", str(three), "west.csv", "--add"]) == 0
    assert (three / "study.yaml").read_text(encoding="utf-8").startswith(text)
    assert (three / "study.yaml.bak").read_text(encoding="utf-8") == text
    with pytest.raises(StudyError, match=r"reading/west.yaml: .* still"):
        read_plan(three)
    assert "ask the centre" in capsys.readouterr().out


def test_from_drafts_to_a_check_without_a_problem_no_cell_is_retyped(three, capsys):
    """What a data manager answers: here the whole of what only the centre knows, in the drafts alone."""
    before = {path.name: path.read_bytes() for path in three.iterdir() if path.is_file()}
    assert main(["map", str(three), "nord.xlsx", "sued.csv", "west.csv", "--add"]) == 0
    all_forms(three)
    assert main(["check", str(three)]) == 0
    assert {name: (three / name).read_bytes() for name in before if name != "study.yaml"} == {
        name: content for name, content in before.items() if name != "study.yaml"
    }


def test_what_is_certain_is_filled_in(three):
    main(["map", str(three), "nord.xlsx", "west.csv"])
    nord = (three / "reading" / "nord.yaml").read_text(encoding="utf-8")
    assert "header_rows: [2, 3]" in nord
    assert 'age_years: "Patient Alter"' in nord
    assert re.search(r'diabetes: {from: "Patient Diabetes", words: {"nein": "no"}}', nord)
    west = (three / "reading" / "west.yaml").read_text(encoding="utf-8")
    assert '{months: 6, status: "status 6m", bone_height_mm: "bone 6m"' in west


def test_no_text_of_a_cell_stands_in_a_draft(three):
    text = (three / "west.csv").read_text(encoding="utf-8")
    (three / "west.csv").write_text(text.replace(",freehand,", ",Zwetschge Quitte,"), encoding="utf-8")
    main(["map", str(three), "west.csv"])
    assert "zwetschge" not in (three / "reading" / "west.yaml").read_text(encoding="utf-8").casefold()


def test_mapping_twice_changes_nothing(three, capsys):
    main(["map", str(three), "west.csv", "--add"])
    plan, reading = three / "study.yaml", three / "reading" / "west.yaml"
    before = plan.read_bytes(), reading.read_bytes()
    assert main(["map", str(three), "west.csv", "--add"]) == 0
    assert main(["map", str(three), "west.csv", "--update"]) == 0
    assert (plan.read_bytes(), reading.read_bytes()) == before


def test_a_reading_that_is_there_gets_a_diff_and_new_headers_only(three, capsys):
    all_forms(three)
    path = three / "reading" / "west.yaml"
    before = path.read_text(encoding="utf-8")
    text = (three / "west.csv").read_text(encoding="utf-8").splitlines()
    added = [f"{line},{'Notiz' if at == 0 else 'x'}" for at, line in enumerate(text)]
    (three / "west.csv").write_text("\n".join(added) + "\n", encoding="utf-8")
    assert main(["map", str(three), "west.csv"]) == 1
    assert path.read_text(encoding="utf-8") == before
    assert main(["map", str(three), "west.csv", "--update"]) == 0
    after = path.read_text(encoding="utf-8")
    assert after == f'{before}ignore:\n  - "? Notiz"  # a, 1 filled\n'


def test_check_of_one_file_is_silent_on_the_others(three, capsys):
    plan = three / "study.yaml"
    plan.write_text(plan.read_text(encoding="utf-8") + all_forms(three), encoding="utf-8")
    text = (three / "west.csv").read_text(encoding="utf-8")
    (three / "west.csv").write_text(text.replace("freehand", "by foot"), encoding="utf-8")
    assert main(["check", str(three), "--only", "sued.csv"]) == 0
    assert main(["check", str(three), "--only", "west.csv"]) == 1
    assert main(["check", str(three), "--only", "ost.csv"]) == 2
    _, problems = check_study(read_plan(three), ["west.csv"])
    assert all(str(problem).startswith("west.csv") for problem in problems)


def test_two_files_of_one_stem_get_a_reading_each(three, capsys):
    (three / "sub").mkdir()
    for name in ("nord.csv", "sub/nord.csv"):
        (three / name).write_bytes((three / "west.csv").read_bytes())
    assert main(["map", str(three), "nord.xlsx", "nord.csv", "sub/nord.csv", "--add"]) == 0
    files = load_yaml((three / "study.yaml").read_text(encoding="utf-8"))["files"]
    said = {label: three / path for label, path in files.items()}
    assert len(set(said.values())) == 3
    for label, path in said.items():
        assert path.read_text(encoding="utf-8").startswith(f"# How {label} is read,")
    before = {path: path.read_bytes() for path in said.values()}
    assert main(["map", str(three), "sub/nord.csv", "nord.csv", "nord.xlsx"]) == 0
    assert {path: path.read_bytes() for path in (three / "reading").iterdir()} == before


def test_a_reading_that_study_yaml_names_for_another_file_is_left_to_it(three, capsys):
    """The first line may be gone; study.yaml says whose it is."""
    plan = three / "study.yaml"
    plan.write_text(plan.read_text(encoding="utf-8") + all_forms(three), encoding="utf-8")
    (three / "west.xlsx").write_bytes((three / "nord.xlsx").read_bytes())
    before = (three / "reading" / "west.yaml").read_bytes()
    assert main(["map", str(three), "west.xlsx"]) == 0
    assert '"west.xlsx": "reading/west_xlsx.yaml"' in capsys.readouterr().out
    assert (three / "reading" / "west.yaml").read_bytes() == before


def test_a_draft_of_a_file_with_the_dictionarys_own_header_may_end_up_without_a_key(three, capsys):
    """Its one question answered by deleting the line, as it says; a reading without a byte may be a broken copy."""
    (three / "plain.csv").write_text("patient_id,centre,age_years,sex\np1,north,54,female\n", encoding="utf-8")
    (three / "study.yaml").write_text("tables: {patients: plain.csv}\n", encoding="utf-8")
    assert main(["map", str(three), "plain.csv", "--add"]) == 0
    path = three / "reading" / "plain.yaml"
    kept = [line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("#")]
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    main(["check", str(three)])
    assert "holds no keys" not in capsys.readouterr().out
    path.write_bytes(b"")
    main(["check", str(three)])
    assert "holds no keys" in capsys.readouterr().out
