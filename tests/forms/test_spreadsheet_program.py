"""The tests' own spreadsheet program: tried once more where it dies, never where it merely does something wrong."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import spreadsheet_program

# Stands in for LibreOffice: notes that it ran, then does what the attempt's line says.
PROGRAM = """#!{python}
import os, re, signal, sys
from urllib.request import url2pathname
from pathlib import Path
book, lines = (Path(url2pathname(url.removeprefix("file://"))) for url in re.findall(r"file://[^,)]+", sys.argv[-1]))
with open({log!r}, "a") as log:
    log.write(next(word for word in sys.argv if "UserInstallation" in word) + " " + book.read_text() + "\\n")
attempt = len(Path({log!r}).read_text().splitlines())
begun = lines.with_name(lines.name + ".begun")
{does}
"""
WORKS = "begun.touch(); book.write_text('saved')"
FIRST_DIES = {
    "by a signal": "if attempt == 1: begun.touch(); book.write_text('half'); os.kill(os.getpid(), signal.SIGABRT)",
    "by a signal of its child": "if attempt == 1: begun.touch(); sys.exit(134)",
    "before it begins": "if attempt == 1: sys.exit(0)",
}


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    """Call with what the program does; gives what it noted, a line an attempt."""

    def put(does: str) -> Path:
        program, log = tmp_path / "program", tmp_path / "log"
        program.write_text(PROGRAM.format(python=sys.executable, log=str(log), does=does), encoding="utf-8")
        program.chmod(0o755)
        monkeypatch.setattr(spreadsheet_program, "SOFFICE", str(program))
        return log

    return put


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_text("as given", encoding="utf-8")
    return path


@pytest.mark.parametrize("first", FIRST_DIES.values(), ids=FIRST_DIES)
def test_a_program_that_dies_is_tried_once_more_in_a_new_profile(stand_in, book, first):
    log = stand_in(f"{first}\n{WORKS}")
    spreadsheet_program.calculated(book)
    assert book.read_text() == "saved"
    (one, saw), (other, saw_then) = (line.split(" ", 1) for line in log.read_text().splitlines())
    assert one != other
    assert saw == saw_then == "as given"


def test_a_program_that_dies_twice_fails_the_test(stand_in, book):
    log = stand_in("os.kill(os.getpid(), signal.SIGABRT)")
    with pytest.raises(AssertionError):
        spreadsheet_program.calculated(book)
    assert len(log.read_text().splitlines()) == 2


@pytest.mark.parametrize("does", ["begun.touch()", "begun.touch(); sys.exit(1)"], ids=["nothing saved", "an error"])
def test_what_it_did_wrong_is_not_tried_again(stand_in, book, does):
    log = stand_in(does)
    with pytest.raises(AssertionError):
        spreadsheet_program.calculated(book)
    assert len(log.read_text().splitlines()) == 1
