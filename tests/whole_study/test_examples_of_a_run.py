"""The examples in the help of `run`, `changes` and `case`, beside the demo's finished run."""

from __future__ import annotations

import shutil

import pytest
from whole_study.conftest import example_of, liftseries


@pytest.mark.parametrize("name", ["run", "changes", "case"])
def test_example_runs(demo, tmp_path, name):
    study = shutil.copytree(demo[0], tmp_path / "series", symlinks=True)
    said = liftseries(*example_of(name, study))
    assert (said.status, said.err) == (0, "")
    assert "Next: " in said.out.splitlines()[-1]
