"""Damaged files by the thousand, tables of cells that nobody expects: no reader raises, hangs or fills the memory."""

from __future__ import annotations

import datetime
import re
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from studies import TEXTS, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

HARNESS = Path(__file__).with_name("harness.py")
# libFuzzer ends the process where one file takes longer or the whole more memory; a longer file than the longest would
# be cut, and no sound workbook be among them.
LIMITS = ["-timeout=60", "-rss_limit_mb=2048", "-max_len=32768"]
# In edges of our code, as libFuzzer counts them, 98 % of what three to five times as many runs reach; of Parquet 93 %.
RUNS = [("csv", 1000), ("workbook", 500), ("parts", 1500), ("parquet", 500), ("plan", 1000)]
CANARY = "Quillfeather"


@pytest.mark.skipif(find_spec("atheris") is None, reason="atheris is there for Linux alone")
@pytest.mark.parametrize(("kind", "runs"), RUNS)
def test_damaged_files(tmp_path, kind, runs):
    command = [sys.executable, str(HARNESS), kind, f"-runs={runs}", "-seed=2", *LIMITS]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, errors="replace")
    assert ended.returncode == 0, ended.stderr[-4000:]
    done = re.search(r"Done (\d+) runs", ended.stderr)
    assert int(done[1]) >= runs


words = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
odd_cells = st.one_of(
    words.map(lambda word: f"{CANARY} {word}"),
    words,
    st.integers(),
    st.floats(),
    st.booleans(),
    st.dates(min_value=datetime.date(1900, 3, 1)),
    st.sampled_from(["", "=1+1", "1.6", "5,2 mm", "NaN", "1e999", "-", "?", "n/a", "１６", "16\u00a0", "'5", "TRUE"]),
)


@st.composite
def odd_tables(draw):
    """Table, row, column number and cell of up to eight odd cells."""
    places = st.tuples(st.sampled_from(sorted(TEXTS)), st.integers(0, 2), st.integers(0, 22), odd_cells)
    return draw(st.lists(places, min_size=1, max_size=8))


def with_cells(places) -> dict:
    def change(name):
        def put(table: pd.DataFrame) -> pd.DataFrame:
            table = table.astype(object)
            for _, row, column, cell in (place for place in places if place[0] == name):
                table.iloc[row % len(table), column % table.shape[1]] = cell
            return table

        return put

    return {name: change(name) for name in TEXTS}


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(places=odd_tables())
def test_odd_cells(ending, places):
    with tempfile.TemporaryDirectory() as folder:
        try:
            study = write_study(Path(folder), with_cells(places), ending=ending)
        except Exception:
            return  # the library that writes the file does not take such a cell
        intake, problems = check_study(read_plan(study))
        said = "\n".join([*map(str, problems), *intake.set_aside.astype(str).to_numpy().ravel()])
        assert CANARY not in said
        counts = intake.counts[["read", "kept", "set_aside"]].sum()
        assert counts["read"] == counts["kept"] + counts["set_aside"]
        if problems and not intake.findings["row"].isna().any():
            assert counts["set_aside"] > 0
