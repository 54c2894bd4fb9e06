"""What a check tells once and of which rows: a column that is missing, a column cleared, a file with an identifier."""

from __future__ import annotations

from studies import added, cell, cells, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan


def lines(folder) -> list[str]:
    return list(map(str, check_study(read_plan(folder))[1]))


def test_a_column_that_some_rows_need_is_missing_once(tmp_path):
    """Two guided drills of unknown shank: one fault of the file, at its header."""
    drill = {
        "instrument_id": "wide-14",
        "role": "widening",
        "approach": "guided",
        "diameter_mm": "3",
        "length_mm": "14",
    }
    with_two = added(drill | {"length_mm": "14"})
    folder = write_study(tmp_path, {"instruments": lambda table: with_two(table).drop(columns="guide_shank_mm")})
    (line,) = lines(folder)
    assert line.startswith("instruments.csv, row 1: a column is missing: guide_shank_mm; row 2 needs it (")
    assert line.endswith("Add it.")


def test_a_value_missing_in_a_column_that_is_there_is_told_at_its_row(tmp_path):
    (line,) = lines(write_study(tmp_path, {"instruments": cell(2, "guide_shank_mm", "")}))
    assert line.startswith("instruments.csv, row 2, guide_shank_mm: ")


def test_columns_behind_a_cleared_one_are_still_looked_at(tmp_path):
    changes = {"sites": cells((2, "protocol", "Dr. Quill"), (3, "graft", "Ottoline Marrowbone"))}
    folder = write_study(tmp_path, changes, plan="reading: {cleared: {sites: [protocol]}}")
    (line,) = lines(folder)
    assert line.startswith("sites.csv, row 3, graft: looks like a person's name")


def test_an_identifier_in_one_file_leaves_what_is_wrong_in_another_told(tmp_path):
    """Both stand in row 2 of their files: one is a name, the other only wrong."""
    folder = write_study(tmp_path, {"sites": cells((2, "rbh_min_mm", "Gisela"), (4, "rbh_min_mm", "about five"))})
    header, *rows = (folder / "sites.csv").read_text().splitlines()
    (folder / "sites.csv").write_text("\n".join([header, *rows[:2]]) + "\n")
    (folder / "north.csv").write_text("\n".join([header, *rows[2:]]) + "\n")
    plan = (folder / "study.yaml").read_text().replace("sites: sites.csv", "sites: [sites.csv, north.csv]")
    (folder / "study.yaml").write_text(plan)
    name, wrong = sorted(lines(folder), key=lambda line: line.startswith("north"))
    assert name.startswith("sites.csv, row 2, rbh_min_mm: looks like a person's name")
    assert wrong.startswith("north.csv, row 2, rbh_min_mm: ")
    assert "looks like" not in wrong


def test_a_stop_that_leaves_no_drill_is_told_to_the_half_millimetre(tmp_path):
    told = lines(write_study(tmp_path, {"stops": cell(2, "marking_mm", "13.5")}))
    assert any("the stop takes 13.5 mm off an instrument of 12 mm" in line for line in told)
