"""What is said of all files, in a study whose files are unlike; what is said of one goes before it, word by word."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import tables, write_plan, write_study
from test_forms_said import told

from liftseries.intake.study import check_study, read_study
from liftseries.study.file_readings import merged, reading_schema
from liftseries.study.plan import read_plan
from liftseries.study.plan_shape import with_defaults


def merged_columns(common, own):
    section = with_defaults({"columns": {"sites": {"torque_ncm": common}}}, reading_schema())
    return merged(section, {"columns": {"sites": {"torque_ncm": own}}})["columns"]["sites"]["torque_ncm"]


@pytest.mark.parametrize(
    ("common", "own", "expected"),
    [
        ({"from": "A", "words": {"x": 1}}, {"from": "A", "missing": ["X "]}, {"from": "A", "missing": ["X "]}),
        ({"from": "A", "missing": ["x"]}, {"from": "A", "words": {"X": 1}}, {"from": "A", "words": {"X": 1}}),
        ({"from": "A", "words": {"Ja": 1}}, {"from": "A", "words": {"ja": 2}}, {"from": "A", "words": {"ja": 2}}),
        ({"from": "A", "words": {"Ja": 1}}, {"from": "A", "words": {"ja": None}}, {"from": "A"}),
        ({"from": "A", "words": {"x": 1}, "unit": "N mm"}, "B", {"from": "B", "words": {"x": 1}}),
        ("A", {"words": {"x": 1}}, {"from": "A", "words": {"x": 1}}),
        (
            {"from": "A", "words": {"x": 1}, "missing": ["y"]},
            {"from": "A", "words": {"z": 2}, "missing": ["w"]},
            {"from": "A", "words": {"x": 1, "z": 2}, "missing": ["y", "w"]},
        ),
    ],
)
def test_words_of_a_column_are_merged_one_by_one_without_letter_case(common, own, expected):
    assert merged_columns(common, own) == expected


@pytest.mark.parametrize("own", [{"from": "A", "words": ["x"]}, {"from": "A", "missing": 3}])
def test_words_of_a_wrong_shape_are_told_and_not_merged(tmp_path, own):
    assert merged_columns({"from": "A", "words": {"x": 1}}, own) == own


@pytest.mark.parametrize(("level", "expected"), [("no", "no"), ("~", None)])
def test_levels_go_before_the_common_ones_whatever_their_letter_case(tmp_path, level, expected):
    common = "reading: {levels: {perforation: {Ja: yes}}}"
    said = f"{{sites.csv: {{levels: {{perforation: {{ja: {level}}}}}}}}}"
    typed = {"sites": lambda sites: sites.assign(perforation=["JA", "unknown", "yes", "no"])}
    problems = told(tmp_path, said, typed, common)
    if expected:
        assert problems == []
        assert read_study(read_plan(tmp_path)).tables["sites"]["perforation"][0] == expected
    else:
        assert len(problems) == 1
        assert "row 2" in problems[0]


def two_files(folder, reading: str, files: str = "{}", **of_second):
    """A second file of sites, some of its columns left out (None) or filled, beside one that lacks the septum."""
    write_study(folder, {"sites": lambda sites: sites.drop(columns="septum")})
    more = tables()["sites"].assign(
        site_id=["t1", "t2", "t3", "t4"], operator_case_no=["11", "12", "11", "12"], tooth=["14", "24", "18", "14"]
    )
    more.assign(septum=["", "yes", "no", ""], **of_second).to_csv(folder / "more.csv", index=False)
    write_plan(
        folder,
        {name: f"{name}.csv" for name in tables()} | {"sites": ["sites.csv", "more.csv"]},
        f"reading: {reading}\nfiles: {files}",
    )
    return list(map(str, check_study(read_plan(folder))[1]))


EMPTY = "{empty_means: {sites: {septum: no}}}"


@pytest.mark.parametrize("own", ["constants: {sites: {septum: yes}}", "not_collected: {sites: [septum]}"])
def test_a_files_constant_goes_before_a_common_meaning_of_empty_cells(tmp_path, own):
    assert two_files(tmp_path, EMPTY, f"{{sites.csv: {{{own}}}}}") == []
    septum = read_study(read_plan(tmp_path)).tables["sites"]["septum"].tolist()
    assert septum[4:] == ["no", "yes", "no", "no"]
    assert set(septum[:4]) == {"yes" if "yes" in own else "unknown"}


def test_a_files_meaning_of_empty_cells_goes_before_a_common_constant(tmp_path):
    common = "{not_collected: {sites: [septum]}}"
    assert two_files(tmp_path, common, f"{{more.csv: {EMPTY}}}") == []
    assert read_study(read_plan(tmp_path)).tables["sites"]["septum"].tolist()[4:] == ["no", "yes", "no", "no"]


def test_a_column_that_one_file_lacks_has_no_empty_cells_there(tmp_path):
    """The file is told to lack the column, as without that entry; a file's own entry is told of."""
    of_all = two_files(tmp_path / "a", EMPTY)
    assert not any("empty_means" in problem for problem in of_all)
    of_one = two_files(tmp_path / "b", "{}", f"{{sites.csv: {EMPTY}}}")
    assert any("`empty_means` names septum" in problem for problem in of_one)


EACH = "{columns: {visits: {each: [{months: 6, status: st6, complication: c6}, {months: 10, status: st10}]}}}"


def test_common_groups_of_columns_leave_a_file_without_them_as_it_stands(tmp_path):
    write_study(tmp_path)
    wide = pd.DataFrame({"site_id": ["s4"], "st6": ["functioning"], "c6": ["none"], "st10": ["not_examined"]})
    wide.to_csv(tmp_path / "wide.csv", index=False)
    files = {name: f"{name}.csv" for name in tables()} | {"visits": ["wide.csv", "visits.csv"]}
    write_plan(tmp_path, files, f"reading: {EACH}")
    intake, problems = check_study(read_plan(tmp_path))
    assert problems == []
    assert sorted(intake.tables["visits"]["months"]) == [0, 0.5, 6, 6, 10, 10, 12, 14, 25.5]


def test_groups_that_a_file_itself_names_must_be_in_it(tmp_path):
    problems = told(tmp_path, f"{{visits.csv: {EACH}}}")
    assert sum("names the column" in problem for problem in problems) == 3


def test_a_column_that_one_group_alone_has_is_no_place_for_the_others_rows(tmp_path):
    wide = pd.DataFrame({"site_id": ["s4"], "st6": ["functioning"], "c6": ["none"], "st10": ["functioning"]})
    problems = told(tmp_path, f"{{visits.csv: {EACH}}}", {"visits": wide})
    assert [problem.split(":")[0] for problem in problems] == ["visits.csv, row 2, complication"]


@pytest.mark.parametrize(("lacking", "n_problems"), [(["MBL distal"], 1), ([], 0), (["MBL mesial", "MBL distal"], 0)])
def test_a_file_with_some_of_the_columns_that_a_common_entry_names_is_told_of(tmp_path, lacking, n_problems):
    entry = "{columns: {visits: {marginal_bone_mm: {from: [MBL mesial, MBL distal], take: mean}}}}"

    def sides(visits):
        return visits.drop(columns="marginal_bone_mm").assign(**{"MBL mesial": "0.4", "MBL distal": "0.6"})

    changes = {"visits": lambda visits: sides(visits).drop(columns=lacking)}
    problems = [problem for problem in told(tmp_path, "{}", changes, f"reading: {entry}") if "MBL" in problem]
    assert len(problems) == n_problems
    assert all('and no "MBL distal"' in problem for problem in problems)
