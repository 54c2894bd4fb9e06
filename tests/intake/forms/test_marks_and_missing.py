"""Numbers whose mark nobody can tell, cells called missing, and words beside a tooth: planted and innocent."""

from __future__ import annotations

import numpy as np
import pytest
from studies import cell, cells
from test_forms_said import told

from liftseries.intake.forms.cells import Counts, without_word
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan


def fluid(text: str, *others: str):
    return {"sites": lambda sites: sites.assign(Fl=[text, *others, *[""] * (3 - len(others))])}


IN_UL = "columns: {sites: {fluid_ml: {from: Fl, unit: ul}}}"


@pytest.mark.parametrize("text", ["1.200", "1,200", "1.200 µl", "1.200 ul"])
def test_a_mark_that_nobody_can_tell_is_refused_beside_a_unit(tmp_path, text):
    problems = told(tmp_path, f"{{sites.csv: {{{IN_UL}}}}}", fluid(text))
    assert len(problems) == 1
    assert "a mark before three digits" in problems[0]


@pytest.mark.parametrize(
    ("text", "others", "more", "expected"),
    [
        ("1200", [], "", 1.2),
        ("850.5", [], "", 0.8505),
        ("1.200", ["850.5"], "", 0.0012),  # the same mark elsewhere in the column
        ("1,200 µl", [], "decimal: ',', ", 0.0012),
        ("1,200", [], "decimal: ',', ", 0.0012),
        ("0.250", [], "", 0.00025),
    ],
)
def test_its_neighbours_are_read(tmp_path, text, others, more, expected):
    assert told(tmp_path, f"{{sites.csv: {{{more}{IN_UL}}}}}", fluid(text, *others)) == []
    assert read_study(read_plan(tmp_path)).tables["sites"]["fluid_ml"][0] == expected


def test_the_other_mark_before_three_digits_is_refused_with_a_unit_too(tmp_path):
    problems = told(tmp_path, f"{{sites.csv: {{decimal: ',', {IN_UL}}}}}", fluid("1.200 µl"))
    assert len(problems) == 1
    assert "a point before three digits" in problems[0]


@pytest.mark.parametrize(("text", "n_told"), [("1.200", 1), ("1.200 ml", 1), ("1.2", 0), ("1.2 ml", 0), ("1.25", 0)])
def test_a_mark_that_nobody_can_tell_is_refused_where_one_of_several_is_taken(tmp_path, text, n_told):
    drilled = {"steps": lambda steps: steps.assign(a=text.replace("ml", "rpm"), b="1100").drop(columns="speed_rpm")}
    said = "{steps.csv: {columns: {steps: {speed_rpm: {from: [a, b], take: mean}}}}}"
    problems = told(tmp_path, said, drilled)
    assert bool(problems) == n_told
    assert all("a mark before three digits" in problem for problem in problems)


# ── what is called missing, and what is left blank ──────────────────────────────────────────────


def septa(*words: str):
    return {"sites": lambda sites: sites.assign(septum=list(words))}


def read_septa(folder) -> list[str]:
    return read_study(read_plan(folder)).tables["sites"]["septum"].tolist()


def test_a_cell_called_missing_is_not_filled_as_an_empty_one(tmp_path):
    forms = "columns: {sites: {septum: {from: septum, missing: ['?']}}}, empty_means: {sites: {septum: no}}"
    assert told(tmp_path / "a", f"{{sites.csv: {{{forms}}}}}", septa("?", "", "yes", "no")) == []
    assert read_septa(tmp_path / "a") == ["unknown", "no", "yes", "no"]
    recorded = "{sites.csv: {not_recorded: ['?'], empty_means: {sites: {septum: no}}}}"
    assert told(tmp_path / "b", recorded, septa("?", "", "yes", "no")) == []
    assert read_septa(tmp_path / "b") == ["unknown", "no", "yes", "no"]


def test_a_cell_called_missing_is_empty_where_nobody_needs_a_value(tmp_path):
    """The stage of a tear: `unknown` would say that there was one."""
    stages = {"sites": lambda sites: sites.assign(perforation_stage=["-", "-", "lifting", "-"])}
    forms = "columns: {sites: {perforation_stage: {from: perforation_stage, missing: ['-']}}}"
    assert told(tmp_path, f"{{sites.csv: {{{forms}}}}}", stages) == []
    assert read_study(read_plan(tmp_path)).tables["sites"]["perforation_stage"].isna().tolist() == [1, 1, 0, 1]


def test_nor_is_it_what_an_empty_cell_means(tmp_path):
    """Without a word on placement the implant came the same day; a `?` does not say so."""
    placed = {"sites": lambda sites: sites.assign(placement=["?", "", "staged", "none"])}
    forms = "columns: {sites: {placement: {from: placement, missing: ['?']}}}"
    (problem,) = told(tmp_path, f"{{sites.csv: {{{forms}}}}}", placed)
    assert "row 2" in problem
    assert "means same_day" in problem


@pytest.mark.parametrize("said", ["missing: ['-']", ""])
def test_nor_where_one_of_several_columns_is_taken(tmp_path, said):
    two = {"sites": lambda sites: sites.assign(a=["-", "", "0.2", "-"], b=["-", "", "-", "0.4"])}
    more = "" if said else "reading: {not_recorded: ['-']}"
    form = f"{{from: [a, b], take: mean{', ' + said if said else ''}}}"
    forms = f"columns: {{sites: {{fluid_ml: {form}}}}}, empty_means: {{sites: {{fluid_ml: 0}}}}"
    assert told(tmp_path, f"{{sites.csv: {{{forms}}}}}", two, more) == []
    fluid_ml = read_study(read_plan(tmp_path)).tables["sites"]["fluid_ml"]
    np.testing.assert_array_equal(fluid_ml, [np.nan, 0, 0.2, 0.4])


def test_a_word_for_missing_is_no_part_and_no_text_to_join(tmp_path):
    sized = {"sites": lambda sites: sites.assign(size=["7/9", "-", "", "7/9"])}
    said = "{sites.csv: {columns: {sites: {ridge_width_mm: {from: size, part: 1}}}}}"
    assert told(tmp_path / "a", said, sized, "reading: {not_recorded: ['-']}") == []
    assert any("two numbers" in problem for problem in told(tmp_path / "b", said, sized))
    joined = "{patients.csv: {columns: {patients: {centre: {from: [centre, part], join: ' '}}}}}"
    parts = {"patients": lambda patients: patients.assign(part=["a", "-", "b"])}
    problems = told(tmp_path / "c", joined, parts, "reading: {not_recorded: ['-']}")
    assert len(problems) == 1
    assert "row 3" in problems[0]


def test_a_level_that_is_also_a_word_for_missing_stays_a_level(tmp_path):
    """`none` is a level of complication, whatever else it means elsewhere."""
    said = "{visits.csv: {columns: {visits: {complication: {from: complication, repeated: first}}}}}"
    assert told(tmp_path, said, None, "reading: {not_recorded: [none]}") == []
    assert read_study(read_plan(tmp_path)).tables["visits"]["complication"][0] == "none"


# ── a word beside a tooth ───────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("ending", ["", "!", " 1", "1"])
def test_a_long_word_in_a_tooths_cell_is_read_through_once(ending):
    """Exponential search would not end in this world's time."""
    cells = np.array(["x" * 60 + ending, "26 " + "x" * 60 + ending], dtype=object)
    assert without_word(cells, Counts()).tolist()[0] == cells[0]


@pytest.mark.parametrize("text", ["Regio 16", "Zahn: 16", "Regio#16", "reg. zahn 16", "16 links", "16 OK re."])
def test_the_word_beside_a_tooth_still_goes(text):
    assert without_word(np.array([text], dtype=object), Counts()).tolist() == ["16"]


def test_a_word_in_a_tooths_cell_is_told(tmp_path):
    said = "{sites.csv: {columns: {sites: {tooth: tooth}}}}"
    problems = told(tmp_path, said, {"sites": cells((2, "tooth", "x" * 60))})
    assert any("row 2" in problem for problem in problems)
    assert told(tmp_path / "b", said, {"sites": cell(2, "tooth", "Regio 16")}) == []
