"""Words for levels and for missing values: refused, proposed, taken once study.yaml confirms them, told apart."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import cells, write_study

from liftseries.base.outputs import write_csv
from liftseries.cli import main
from liftseries.intake.cells.cells import read_cell
from liftseries.intake.study import check_study, read_study
from liftseries.intake.told.verdicts import Fault
from liftseries.study.plan import read_plan
from liftseries.study.reading import Reading
from liftseries.study.schema import read_schema

SITES = read_schema()["sites"].columns
DOUBTFUL = {
    "sites": cells(
        (2, "perforation", "Ja"), (3, "septum", "x"), (3, "soft_tissue_mm", "-"), (4, "soft_tissue_mm", "N/A"),
        (4, "bone_height_post_mm", "?"), (5, "septum", "?"),
    )
}  # fmt: skip


def test_block_that_check_proposes_makes_the_study_sound_when_pasted(tmp_path, capsys):
    folder = write_study(tmp_path, DOUBTFUL)
    assert main(["check", str(folder)]) == 1
    block = capsys.readouterr().out.split("\n\n")[1]
    with (folder / "study.yaml").open("a", encoding="utf-8") as file:
        file.write(f"{block}\n")
    intake = read_study(read_plan(folder))
    sites = intake.tables["sites"]
    assert (sites["perforation"][0], sites["septum"][1], sites["septum"][3]) == ("yes", "yes", "unknown")
    assert sites["soft_tissue_mm"].isna().tolist() == [False, True, True, False]
    assert intake.decisions["rule"].value_counts().to_dict() == {
        "missing_word_is_confirmed": 4,
        "level_is_confirmed": 2,
    }


@pytest.mark.parametrize("word", ["torn a bit", "jawohl", "Yes?", "Anna", "xx"])
def test_word_of_no_list_is_never_quoted_or_proposed(word):
    for column in ("perforation", "graft", "soft_tissue_mm"):
        fault = read_cell(word, SITES[column])
        assert isinstance(fault, Fault)
        assert (fault.key, word in fault.message) == ("", False)


@pytest.mark.parametrize("word", ["-", "–", "?", "N/A", " na ", "NULL", "#N/A", "..."])
def test_word_for_a_missing_value_needs_to_be_confirmed(word):
    column = SITES["soft_tissue_mm"]
    assert read_cell(word, column).rule == "missing_word_is_confirmed"
    assert read_cell(word, SITES["rbh_min_mm"]).rule == "value_is_given"
    assert read_cell(word, column, Reading(not_recorded=(word,))).value is None
    taken = read_cell(word, column, Reading(not_applicable=(word,)))
    assert (taken.value, taken.not_applicable) == (None, True)


def test_confirmed_word_does_not_stand_for_what_an_empty_cell_means():
    """An empty placement is same_day, an empty stop none: not the same as nobody having noted it."""
    reading = Reading(not_recorded=("-",))
    stop = read_schema()["steps"].columns["stop_id"]
    assert read_cell("-", SITES["placement"], reading).rule == "value_is_given"
    assert read_cell("-", stop, reading).rule == "value_is_given"
    assert read_cell("-", stop, Reading(not_applicable=("-",))).value is None


def test_level_comes_before_a_word_for_missing():
    assert read_cell("none", SITES["graft"], Reading(not_recorded=("none",))) == "none"


def test_not_applicable_is_told_apart_from_not_recorded(tmp_path):
    changes = {
        "sites": cells(
            (2, "fluid_ml", ""), (2, "lift_method", "osteotome"),  # by the row: nothing to record
            (3, "lift_method", "fluid"),  # applies, and nobody recorded it
            (4, "lift_method", ""),  # nobody knows whether it applies
            (5, "fluid_ml", "n/a"), (5, "lift_method", "fluid"),  # as the user marks it
        )
    }  # fmt: skip
    folder = write_study(tmp_path, changes, plan="reading: {not_applicable: n/a}")
    intake = read_study(read_plan(folder))
    assert intake.tables["sites"]["fluid_ml"].isna().all()
    assert intake.not_applicable["sites"]["fluid_ml"].tolist() == [True, False, False, True]
    # s4 has no implant, s2 one whose torque nobody noted
    assert intake.not_applicable["sites"]["torque_ncm"].tolist() == [False, False, False, True]


def test_flags_follow_the_rows_kept(tmp_path):
    folder = write_study(tmp_path, {"sites": cells((2, "tooth", "13"))}, plan="invalid_rows: set_aside")
    intake = read_study(read_plan(folder))
    assert intake.not_applicable["sites"]["torque_ncm"].tolist() == [False, False, True]


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-x", "@SUM(A1)", "\t=A1", " =A1", "＝A1"])
def test_text_that_begins_as_a_formula_is_refused(text):
    assert read_cell(text, SITES["protocol"]).rule == "text_is_no_formula"
    assert text.strip() not in read_cell(text, SITES["protocol"]).message


@pytest.mark.parametrize("text", ["-1.5", "+2", "A=1", "B-2", "3"])
def test_texts_that_are_none_are_taken(text):
    assert read_cell(text, SITES["protocol"]) == text


def test_written_csv_holds_no_formula_and_every_number_as_it_is(tmp_path):
    table = pd.DataFrame(
        {
            "text": ["=1+1", "-x", "-1.5", "a", "-0,4", "-"],
            "level": pd.Categorical(["@a", "b", "b", "@a", "b", "b"]),
            "number": [-1.5, 2.0, -1e-9, None, None, None],
            "flag": pd.array([True, False, None, True, None, None], dtype="boolean"),
        }
    )
    write_csv(tmp_path / "t.csv", table)
    lines = (tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()
    assert lines == [
        "text,level,number,flag",
        "'=1+1,'@a,-1.5,true",
        "'-x,b,2.0,false",
        "-1.5,b,-1e-09,",
        "a,'@a,,true",
        '"-0,4",b,,',
        "-,b,,",
    ]


@pytest.mark.parametrize(
    ("others", "cell", "value"),
    [
        (["30", "35"], "1,200", None),  # 1.2 or 1200
        (["30", "35"], "1.200", None),
        (["30", "1200"], "1.200", None),
        (["30", "35"], "1.2000", 1.2),  # as the message tells
        (["30,5", "35.5"], "1.200", None),  # both marks are decimal ones here
        (["30", "35"], "0.200", 0.2),
        (["30,5", "35"], "1,200", 1.2),  # the column has decimal commas
        (["30,5", "35"], "1.200", None),  # so a point may mark thousands
        (["30.5", "35"], "1.200", 1.2),
    ],
)
def test_mark_before_three_digits(tmp_path, others, cell, value):
    changes = {"sites": cells((2, "torque_ncm", cell), (3, "torque_ncm", others[0]), (4, "torque_ncm", others[1]))}
    intake, problems = check_study(read_plan(write_study(tmp_path, changes)))
    assert ("mark before three digits" in str(problems)) == (value is None)
    assert value is None or intake.tables["sites"]["torque_ncm"][0] == value


def test_decisions_are_written_but_never_over_the_study(tmp_path, capsys):
    folder = write_study(tmp_path / "study", {"sites": cells((2, "tooth", "1.6"))})
    path = tmp_path / "decisions.csv"
    assert main(["check", str(folder), "--decisions", str(path)]) == 0
    assert "1 decision on" in capsys.readouterr().out
    assert pd.read_csv(path)["rule"].tolist() == ["tooth_is_quadrant_and_position"]
    before = (folder / "sites.csv").read_bytes()
    assert main(["check", str(folder), "--decisions", str(folder / "sites.csv")]) == 2
    assert (folder / "sites.csv").read_bytes() == before
