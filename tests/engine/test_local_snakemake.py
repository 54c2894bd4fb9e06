"""Snakemake, begun and ended in less time, does what Snakemake does."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

MODULE = "liftseries.engine.local_snakemake"
RULE = """rule made:
    output: "made.txt"
    run:
        print("words of a job")
        open(output[0], "w").write("made") if {works} else 1 / 0
"""


def started(folder, *arguments, path=""):
    """It, in a folder; all that it says, and its status."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(path), os.environ.get("PYTHONPATH", "")])}
    command = [sys.executable, "-m", MODULE, "--cores", "1", "--force-use-threads", *arguments]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)


@pytest.mark.parametrize(("works", "status"), [(True, 0), (False, 1)])
def test_its_status_and_all_of_its_words_arrive(tmp_path, works, status):
    (tmp_path / "Snakefile").write_text(RULE.format(works=works), encoding="utf-8")
    ended = started(tmp_path)
    assert ended.returncode == status
    assert "words of a job" in ended.stdout
    assert ("ZeroDivisionError" in ended.stderr) is not works
    assert (tmp_path / "made.txt").is_file() is works


@pytest.mark.parametrize(
    ("arguments", "status"), [(["--no-such-option"], 2), (["--snakefile", "nowhere"], 1), (["--version"], 0)]
)
def test_so_does_the_status_of_a_wrong_use(tmp_path, arguments, status):
    assert started(tmp_path, *arguments).returncode == status


def test_executors_that_are_installed_are_not_loaded(tmp_path):
    """One that cannot even be imported."""
    plugin = tmp_path / "snakemake_executor_plugin_of_no_use"
    plugin.mkdir()
    (plugin / "__init__.py").write_text("raise SystemError('it was loaded')", encoding="utf-8")
    (tmp_path / "Snakefile").write_text(RULE.format(works=True), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--version"]
    plain = subprocess.run(command, env=os.environ | {"PYTHONPATH": str(tmp_path)}, capture_output=True, text=True)
    assert "it was loaded" in plain.stderr
    assert started(tmp_path, path=tmp_path).returncode == 0
