"""The help of each command holds an example that runs beside a copy of the demo."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest

from liftseries.cli import main
from liftseries.cli.main import _parser

DEMO = Path(__file__).parents[2] / "synthetic_data"
OF_A_RUN = ("run", "changes", "case", "release")  # tests/whole_study runs these, beside a finished run


def commands() -> dict:
    (action,) = (action for action in _parser()._actions if hasattr(action, "choices") and action.choices)
    return action.choices


def example(name: str) -> list[str]:
    """The words behind `liftseries` in the line below `Example:`."""
    lines = commands()[name].format_help().splitlines()
    program, *words = shlex.split(lines[lines.index("Example:") + 1])
    assert (program, words[0]) == ("liftseries", name)
    return words


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    folder = tmp_path_factory.mktemp("examples")
    shutil.copytree(DEMO, folder / "synthetic_data", ignore=shutil.ignore_patterns("output", "*.py", "__pycache__"))
    return folder


@pytest.mark.parametrize("name", [name for name in commands() if name not in OF_A_RUN])
def test_example_runs(room, name, monkeypatch, capsys):
    monkeypatch.chdir(room)
    assert main([*example(name), "--quiet"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    # What pseudonymise says last is how many patients stand alone.
    assert "Next: " in said.out.splitlines()[-2 if name == "pseudonymise" else -1]


@pytest.mark.parametrize("name", OF_A_RUN)
def test_example_names_the_demo(name):
    assert "synthetic_data" in example(name)
