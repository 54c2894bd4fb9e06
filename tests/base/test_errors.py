"""What is shown of a fault of our own: where it came from, and no word of it that might quote a cell."""

from __future__ import annotations

import subprocess
import sys

import pytest
from studies import write_study

from liftseries.base.errors import SHOW_VALUES, fault
from liftseries.cli import main

CANARY = "Zebedee Quillfeather"


def raised(chained: bool) -> Exception:
    try:
        try:
            float(CANARY)
        except ValueError as first:
            if not chained:
                raise
            raise KeyError(CANARY) from first
    except (ValueError, KeyError) as error:
        return error


@pytest.mark.parametrize("chained", [False, True])
def test_frames_and_kinds_stand_but_no_words(chained, monkeypatch):
    monkeypatch.delenv(SHOW_VALUES, raising=False)
    told = fault(raised(chained))
    assert CANARY not in told
    assert "in raised" in told
    assert "ValueError" in told
    assert ("KeyError" in told) is chained


def test_words_come_with_leave(monkeypatch):
    monkeypatch.setenv(SHOW_VALUES, "1")
    assert CANARY in fault(raised(True))


def test_command_that_breaks_says_3_and_nothing_of_the_cells(tmp_path, monkeypatch, capsys):
    monkeypatch.delenv(SHOW_VALUES, raising=False)
    monkeypatch.setattr("liftseries.intake.study.check_study", lambda *_: float(CANARY))
    assert main(["check", str(write_study(tmp_path))]) == 3
    said = capsys.readouterr()
    assert CANARY not in said.out + said.err
    assert "fault of liftseries" in said.err


def test_job_that_breaks_leaves_no_words_in_its_log(tmp_path):
    script = (
        "from liftseries.engine.job import logged\n"
        f"with logged({str(tmp_path / 'job.log')!r}):\n"
        f"    float({CANARY!r}.lower())\n"
    )
    ended = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True)
    log = (tmp_path / "job.log").read_text(encoding="utf-8")
    assert ended.returncode == 1
    assert "ValueError" in log
    assert CANARY.lower() not in log + ended.stdout + ended.stderr
