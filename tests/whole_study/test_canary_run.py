"""Identifiers planted in every text cell stand in no output, log, message or manifest of a run."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import cycle
from pathlib import Path

import pytest
from packed import everything_in
from studies import TEXTS, changed, write_plan, write_study
from whole_study.conftest import WARM

from liftseries.cli import main
from liftseries.study.schema import read_schema

# Invented: an address and a telephone number that nobody can have (RFC 2606; 555-01xx is kept for fiction).
CANARIES = ("zebedee.quillfeather@example.org", "+1 202 555 0143")
FILES = [("csv", 0), ("xlsx", 0), ("parquet", 1)]
ENDINGS = {"csv": "{}.csv", "xlsx": "study.xlsx#{}", "parquet": "{}.parquet"}


def planted(text: str) -> dict:
    """The study with the identifier at the end of every cell of every text and category column."""

    def change(name, table):
        columns = [c for c in table if read_schema()[name].columns[c].type in ("text", "category")]
        return table.assign(**{column: table[column].where(table[column] == "", text) for column in columns})

    return {name: change(name, table) for name, table in changed({}).items()}


def said_by(command: str, study: Path, monkeypatch, capfdbinary) -> tuple[int, bytes]:
    """Exit status and words of a command; `check` runs in this process, which saves it starting Python."""
    if command == "check":
        monkeypatch.chdir(study.parent)
        listed = study.parent / "problems.csv"  # the screen has room for the first causes only
        status = main([command, str(study), "--list", str(listed)])
        return status, b"".join(capfdbinary.readouterr()) + listed.read_bytes()
    call = [sys.executable, "-m", "liftseries.cli", command, "--cores", "1", str(study)]
    ended = subprocess.run(call, cwd=study.parent, capture_output=True, env={**os.environ, **WARM})
    return ended.returncode, ended.stdout + ended.stderr


# What is said of a cell is the same in both commands; a run adds its logs and outputs, and takes several times as long.
@pytest.mark.parametrize(
    ("command", "invalid_rows", "ending", "canary"),
    [
        *(("check", rows, *file) for rows in ("stop", "set_aside") for file in FILES),
        ("run", "stop", "csv", 0),
        ("run", "set_aside", "mixed", 1),
    ],
)
def test_identifiers_go_nowhere(tmp_path, monkeypatch, capfdbinary, command, invalid_rows, ending, canary):
    study, changes, plan = tmp_path / "study", planted(CANARIES[canary]), f"invalid_rows: {invalid_rows}"
    for one in ENDINGS if ending == "mixed" else (ending,):
        write_study(study, changes, ending=one, plan=plan)
    if ending == "mixed":
        write_plan(study, {name: file.format(name) for name, file in zip(TEXTS, cycle(ENDINGS.values()))}, plan)
    inputs = {path for path in study.rglob("*") if path.is_file()}
    status, words = said_by(command, study, monkeypatch, capfdbinary)
    assert status == 1
    said = words.lower() + everything_in(study, but=inputs).lower()
    assert CANARIES[canary].encode() not in said
    assert b"quillfeather" not in said
    for name in TEXTS:
        assert name.encode() in said


def test_an_identifier_in_a_free_text_stops_the_run_though_rows_may_be_set_aside(tmp_path):
    """No other check refuses these cells: without the screen the study would run and print them as groups."""
    changes = {
        "patients": lambda patients: patients.assign(centre=CANARIES[0]),
        "sites": lambda sites: sites.assign(protocol=CANARIES[1], operator=[CANARIES[0], "o1", "o2", "o2"]),
    }
    study = write_study(tmp_path / "study", changes, plan="invalid_rows: set_aside")
    inputs = {path for path in study.rglob("*") if path.is_file()}
    ended = subprocess.run(
        [sys.executable, "-m", "liftseries.cli", "run", "--cores", "1", str(study)],
        cwd=tmp_path,
        capture_output=True,
        env={**os.environ, **WARM},
    )
    assert ended.returncode == 1
    assert not (study / "output" / "results.csv").exists()
    said = ended.stdout + ended.stderr
    for place in (
        b"patients.csv, rows 2-4, centre ",
        b"sites.csv, rows 2-5, protocol ",
        b"sites.csv, row 2, operator ",
    ):
        assert place in said
    found = said.lower() + everything_in(study, but=inputs).lower()
    assert not [canary for canary in CANARIES if canary.encode() in found]
