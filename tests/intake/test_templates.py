"""A folder to start from: its plan reads back with the defaults, its tables name every column."""

from __future__ import annotations

import pytest

from liftseries.errors import UsageError
from liftseries.intake.study import check_study
from liftseries.intake.templates import new_study
from liftseries.plan import read_plan
from liftseries.schema import read_schema


def test_plan_reads_back_and_explains_its_keys(tmp_path):
    new_study(tmp_path / "mine")
    plan = read_plan(tmp_path / "mine")
    assert set(plan.tables) == set(read_schema())
    words = (tmp_path / "mine" / "study.yaml").read_text(encoding="utf-8")
    assert "first_depth_margin_mm" in words
    assert "How far a pass may advance" in words


def test_tables_have_all_columns_and_only_want_rows(tmp_path):
    new_study(tmp_path / "mine")
    for name, table in read_schema().items():
        header = (tmp_path / "mine" / f"{name}.csv").read_text(encoding="utf-8").strip()
        assert header.split(",") == list(table.columns)
    _, problems = check_study(read_plan(tmp_path / "mine"))
    assert [str(problem).split(":")[0] for problem in problems] == ["patients.csv", "sites.csv"]
    assert all("holds no rows" in str(problem) for problem in problems)


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match="not an empty folder"):
        new_study(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
