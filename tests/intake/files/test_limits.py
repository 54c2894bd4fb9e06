"""Files that are made to fill the memory or the day: refused in words, within seconds and a bounded memory."""

from __future__ import annotations

import resource
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from stored import rewrite
from studies import tables, write_plan, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

MEMORY = 3 * 2**30  # bytes of address space, most of it taken by libraries that are merely mapped
SHEET, BOOK = "xl/worksheets/sheet1.xml", "xl/workbook.xml"


def only_problem(folder: Path) -> str:
    found = [str(problem) for problem in check_study(read_plan(folder))[1]]
    assert len(found) == 1, found
    return found[0]


def bomb(folder: Path, part: str, start: bytes, filling: bytes, times: int) -> Path:
    """The workbook with one part that unpacks to a great size."""
    write_study(folder, ending="xlsx")
    path = folder / "study.xlsx"
    with zipfile.ZipFile(path) as parts:
        others = {name: parts.read(name) for name in parts.namelist() if name != part}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as parts:
        for name, content in others.items():
            parts.writestr(name, content)
        with parts.open(part, "w", force_zip64=True) as file:
            file.write(start)
            for _ in range(times):
                file.write(filling)
    return folder


@pytest.mark.parametrize("part", [SHEET, BOOK])
def test_part_that_unpacks_to_more_than_is_read(tmp_path, part):
    folder = bomb(tmp_path, part, b"<worksheet><sheetData>", bytes([32]) * 2**24, 17)
    assert (folder / "study.xlsx").stat().st_size < 2**20
    assert "unpacks to more than" in only_problem(folder)


def test_part_that_holds_more_than_it_declares(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    path = folder / "study.xlsx"
    with zipfile.ZipFile(path) as parts:
        size = parts.getinfo(SHEET).file_size.to_bytes(4, "little")
    content = path.read_bytes()
    assert content.count(size) >= 1
    path.write_bytes(content.replace(size, (10).to_bytes(4, "little")))
    assert only_problem(folder) == "study.xlsx: is no workbook or a damaged one. Open and save it as .xlsx."


@pytest.mark.parametrize("part", [SHEET, BOOK, "xl/styles.xml"])
def test_document_type_is_refused_before_its_entities_multiply(tmp_path, part):
    folder = write_study(tmp_path, ending="xlsx")
    entities = "".join(f'<!ENTITY e{at} "{f"&e{at - 1};" * 10}">' for at in range(1, 10))
    declared = f'<!DOCTYPE x [<!ENTITY e0 "lol">{entities}]>'.encode()
    rewrite(folder / "study.xlsx", part, lambda content: declared + content.partition(b"?>")[2])
    assert only_problem(folder).startswith("study.xlsx: holds a document type")


def test_thousands_of_parts(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    with zipfile.ZipFile(folder / "study.xlsx", "a") as parts:
        for at in range(10_001):
            parts.writestr(f"xl/media/{at}", b"")
    assert "is packed from 10" in only_problem(folder)


def test_sheet_of_empty_formatted_cells(tmp_path):
    folder = bomb(tmp_path, SHEET, b"<worksheet><sheetData>", b'<c s="1"/>' * 2**20, 5)
    rewrite_end(folder)
    assert "cells hold something or are formatted; at most 5000000 are read." in only_problem(folder)


def rewrite_end(folder: Path) -> None:
    rewrite(folder / "study.xlsx", SHEET, lambda part: part.replace(b"<sheetData>", b'<sheetData><row r="1">') + END)


END = b"</row></sheetData></worksheet>"


def test_cell_in_the_last_row_and_column_of_a_spreadsheet(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    last = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    rewrite(folder / "study.xlsx", SHEET, lambda part: part.replace(b"</sheetData>", last))
    found = [str(problem) for problem in check_study(read_plan(folder))[1]]
    assert any("filled cells under no column name" in message for message in found)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b'patient_id,centre\n"' + b"x" * 2_000_000, "line 2: a cell of more than 32767 characters."),
        (b"patient_id,centre\n" + b"," * 2_000_000, "row 2: 2000001 cells in one row"),
        (b"patient_id,centre\n" + b",x" * 16_000 + b"\n", "row 2: 16001 cells under 2 column names."),
    ],
    ids=["an open quote", "a line of commas", "a long line"],
)
def test_lines_without_end(tmp_path, content, told):
    folder = write_study(tmp_path)
    (folder / "patients.csv").write_bytes(content)
    found = [str(problem) for problem in check_study(read_plan(folder))[1]]
    assert any(message.startswith(f"patients.csv, {told}") for message in found), found


def test_csv_larger_than_is_read(tmp_path):
    folder = write_study(tmp_path)
    with (folder / "patients.csv").open("r+b") as file:
        file.truncate(2**29 + 1)  # a sparse file
    assert only_problem(folder).startswith("patients.csv: is larger than 512 MB.")


@pytest.mark.skipif(sys.platform != "linux", reason="the limit of memory is set the way of Linux")
def test_memory_stays_bounded(tmp_path):
    """Sixty million rows of nothing and a bomb of rows, under a limit that an unbounded reader would break."""
    folder = bomb(tmp_path, SHEET, b"<worksheet><sheetData>", b"<row/>" * 2**16, 800)
    (folder / "patients.csv").write_bytes(b"patient_id,centre\n" + b",\n" * 2**26)
    write_plan(folder, {name: f"study.xlsx#{name}" for name in tables()} | {"patients": ["patients.csv", "study.xlsx"]})
    run = "import sys; from liftseries.cli import main; sys.exit(main())"
    command = [sys.executable, "-c", run, "check", str(folder)]
    ended = subprocess.run(
        command,
        capture_output=True,
        text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY)),
    )
    assert ended.returncode == 1, ended.stderr[-2000:]
    assert "Traceback" not in ended.stderr
    assert "unpacks to more than 256 MB" in ended.stdout
    assert "patients.csv  [file_is_readable]\n   holds more than 10000000 cells or empty lines" in ended.stdout
