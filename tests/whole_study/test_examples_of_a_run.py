"""The examples in the help of `run`, `changes`, `case` and `release`, beside the demo's finished run."""

from __future__ import annotations

import shlex
import shutil

import pytest
from whole_study.conftest import liftseries


@pytest.mark.parametrize("name", ["run", "changes", "case", "release"])
def test_example_runs(demo, tmp_path, name):
    study = shutil.copytree(demo[0], tmp_path / "series", symlinks=True)
    lines = liftseries(name, "--help").out.splitlines()
    words = shlex.split(lines[lines.index("Example:") + 1])[1:]
    said = liftseries(*(str(study) if word == "synthetic_data" else word for word in words), "--quiet")
    assert (said.status, said.err) == (0, "")
    assert "Next: " in said.out.splitlines()[-1]
