"""Oddities of a study folder: never refused, told at their place in the file, of rows that are kept alone."""

from __future__ import annotations

import pytest
from studies import cell, cells, write_study

from liftseries.intake.study import check_study, oddities_of
from liftseries.study.plan import read_plan


def odd(folder, changes=None, plan="study: {data_until: 2021-12}", **options) -> list[tuple[str, str, str]]:
    """Rule, key and place of each; the study must have no problem."""
    read = read_plan(write_study(folder, changes or {}, plan=plan, **options))
    intake, problems = check_study(read)
    assert problems == []
    return [(one.rule, one.key, one.place) for one in oddities_of(read, intake)]


def test_the_place_is_that_of_the_cell(tmp_path):
    """The torque of s3, which is staged, is odd as it is."""
    staged = ("staged_with_torque", "s3", "sites.csv, row 4, torque_ncm")
    assert odd(tmp_path / "csv") == [staged]
    found = odd(tmp_path / "xlsx", {"sites": cell(2, "torque_ncm", "90")}, ending="xlsx")
    assert found[0] == ("torque_high", "s1", "study.xlsx, sheet sites, cell U2, torque_ncm")


@pytest.mark.parametrize(
    ("data_until", "expected"),
    [
        # s1's failure at 25.5 months of 2018 lies in February 2020 at the earliest, s2's death at 14 of 2019 in March.
        ("2020-03", []),
        ("2020-02", [("visit_beyond_closing", "s2 14")]),
        ("2020-01", [("visit_beyond_closing", "s1 25.5"), ("visit_beyond_closing", "s2 14")]),
        (
            "2019-12",
            [("surgery_beyond_closing", "s4"), ("visit_beyond_closing", "s1 25.5"), ("visit_beyond_closing", "s2 14")],
        ),
    ],
)
def test_after_the_closing_of_the_data_is_odd_and_not_refused(tmp_path, data_until, expected):
    found = odd(tmp_path, plan=f"study: {{data_until: {data_until}}}")
    assert [(rule, key) for rule, key, _ in found if "closing" in rule] == expected


def test_what_is_out_of_range_is_refused_and_not_odd(tmp_path):
    plan = read_plan(write_study(tmp_path, {"sites": cell(2, "surgery_year", "2190")}))
    intake, problems = check_study(plan)
    assert len(problems) == 1
    assert {one.rule for one in oddities_of(plan, intake)} == {"closing_not_set", "staged_with_torque"}


def test_rows_set_aside_are_not_odd_and_places_stay_those_of_the_file(tmp_path):
    """s1 goes for its tooth, and its torque of 90 with it; s3 stands in row 4 all the same."""
    changes = {"sites": cells((2, "tooth", "11"), (2, "torque_ncm", "90"))}
    plan = read_plan(write_study(tmp_path, changes, plan="invalid_rows: set_aside\nstudy: {data_until: 2021-12}"))
    intake, _ = check_study(plan)
    assert [(one.rule, one.place) for one in oddities_of(plan, intake)] == [
        ("staged_with_torque", "sites.csv, row 4, torque_ncm")
    ]


@pytest.mark.parametrize("missing", ["visits", "steps"])
def test_a_study_without_visits_or_a_log(tmp_path, missing):
    """Nobody is told of never having been seen where no visits were handed in."""
    assert [rule for rule, *_ in odd(tmp_path, {missing: None})] == ["staged_with_torque"]


def test_a_file_that_cannot_be_read_is_a_problem_alone(tmp_path):
    study = write_study(tmp_path)
    (study / "sites.csv").write_bytes(b"\x00\xff\x00")
    plan = read_plan(study)
    intake, problems = check_study(plan)
    assert problems
    assert [one.rule for one in oddities_of(plan, intake)] == ["closing_not_set"]
