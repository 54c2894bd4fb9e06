"""Files whose reading could cost more than they are worth: each refused in words, within bounds of memory and time.

All are checked in one process that the kernel ends where it takes more than the limits; what it said is looked at.
"""

from __future__ import annotations

import os
import re
import resource
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from studies import tables, write_plan, write_study

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="limits are set, and pipes lie, the way of Linux")
MEMORY = 3 * 2**30  # bytes of address space, most of it taken by libraries that are merely mapped
SECONDS = 300  # of a core, for all of them; a file that is not bounded takes hours
SHEET = "xl/worksheets/sheet1.xml"
RELATIONS = "xl/_rels/workbook.xml.rels"
TEXTS = b'<Relationship Id="texts" Target="sharedStrings.xml" ' \
    b'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/>'  # fmt: skip
LONG = 32_768  # characters in one cell, one more than is read
START, END = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">', b"</worksheet>"


def named(folder: Path, patients: str) -> None:
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": patients})


def csv(content: bytes) -> Callable[[Path], None]:
    return lambda folder: (folder / "patients.csv").write_bytes(content)


def workbook(sheet: bytes, **more: bytes) -> Callable[[Path], None]:
    """Patients in a workbook of their own, whose sheet is this, and other parts of it these."""

    def write(folder: Path) -> None:
        write_study(folder / "sound", ending="xlsx")
        with zipfile.ZipFile(folder / "sound" / "study.xlsx") as parts:
            contents = {name: parts.read(name) for name in parts.namelist()}
        contents[SHEET] = START + sheet + END
        contents |= {f"xl/{name}.xml": part for name, part in more.items()}
        contents[RELATIONS] = contents[RELATIONS].replace(b"</Relationships>", TEXTS + b"</Relationships>")
        with zipfile.ZipFile(folder / "patients.xlsx", "w", zipfile.ZIP_DEFLATED) as parts:
            for name, part in contents.items():
                parts.writestr(name, part)
        named(folder, "patients.xlsx#patients")

    return write


def parquet(**columns: list) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        pq.write_table(pa.table(columns), folder / "patients.parquet", store_schema=False)
        named(folder, "patients.parquet")

    return write


def directory_of_parts(folder: Path) -> None:
    """A zip archive whose directory has half a million entries, each costing ten times its length when taken apart."""
    n, entry = 500_000, struct.pack("<4s4B4HL2L5H2L", b"PK\1\2", *[0] * 9, 0, 0, 1, 0, 0, 0, 0, 0, 0) + b"x"
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, 0xFFFF, 0xFFFF, n * len(entry), 0, 0)
    (folder / "patients.xlsx").write_bytes(entry * n + end)
    named(folder, "patients.xlsx")


def pipe(folder: Path) -> None:
    (folder / "patients.csv").unlink()
    os.mkfifo(folder / "patients.csv")


def device(folder: Path) -> None:
    (folder / "patients.csv").unlink()
    (folder / "patients.csv").symlink_to("/dev/zero")


def row(number: int, *cells: bytes) -> bytes:
    return b'<row r="%d">%s</row>' % (number, b"".join(cells))


def text(cell: bytes, words: bytes) -> bytes:
    return b'<c r="%s" t="inlineStr"><is><t>%s</t></is></c>' % (cell, words)


HEADER = row(1, text(b"A1", b"patient_id"), text(b"B1", b"centre"))
WIDE = row(2, b'<c r="XFD2"><v>1</v></c>') + b"".join(row(at, b'<c r="A%d"><v>1</v></c>' % at) for at in range(3, 9000))
FORMAT = b'<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts count="1">' \
    b'<numFmt numFmtId="170" formatCode="0&quot;%s&quot;"/></numFmts><cellXfs count="2"><xf numFmtId="0"/>' \
    b'<xf numFmtId="170"/></cellXfs></styleSheet>' % (b"a" * 2**20)  # fmt: skip
NUMBERS = b"".join(row(at, b'<c r="A%d" s="1"><v>%d</v></c>' % (at, at)) for at in range(2, 5000))
COSTLY = {
    "a pipe": (pipe, r"patients.csv: is no file, but a folder, a pipe or a device"),
    "a link to a device without end": (device, r"the path leaves the study folder"),
    "lines without end, then no UTF-8": (csv(b"a\n" + b"\n" * 2**25 + b"\xff"), r"line 33554434: byte 33554435 is not"),
    "one line without end": (csv(b"x" * 2**25), r"patients.csv, line 1: a cell of more than 32767 characters"),
    "a cell that is too long": (
        csv(b"patient_id,centre\np1," + b"x" * LONG), r"line 2: a cell of more than 32767 characters.*shorten it",
    ),
    "more columns than a spreadsheet has": (csv(b"a," * 20_000), r"20001 cells in one row; no table is read with more"),
    "columns that nobody knows": (
        csv(b",".join(b"patient_%d" % at for at in range(4000)) + b"\n"), r"4000 places: 3000 × not a known column",
    ),
    "a zip directory": (directory_of_parts, r"patients.xlsx: is packed from 500000 parts"),
    "a text that every cell holds": (
        workbook(
            b"<sheetData>" + HEADER + b"".join(row(at, b'<c r="A%d" t="s"><v>0</v></c>' % at) for at in range(2, 9000))
            + b"</sheetData>",
            sharedStrings=b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>'
            + b"x" * 2**23 + b"</t></si></sst>",
        ),
        r"patients.xlsx: cell A2 holds more than 32767 characters",
    ),
    "a text in a cell itself": (
        workbook(b"<sheetData>" + HEADER + row(2, text(b"A2", b"x" * LONG)) + b"</sheetData>"),
        r"patients.xlsx: cell A2 holds more than 32767 characters",
    ),
    "a merge over all": (
        workbook(b"<sheetData>" + HEADER + WIDE + b'</sheetData><mergeCells><mergeCell ref="A3:XFD9"/></mergeCells>'),
        r"spreads over more than 20000000 cells",
    ),
    "merges": (
        workbook(
            b"<sheetData>" + HEADER + b"</sheetData><mergeCells>" + b'<mergeCell ref="A9:A10"/>' * 200_000
            + b"</mergeCells>"
        ),
        r"merges cells in more than 100000 places",
    ),
    "a number format that adds a megabyte to each number": (
        workbook(b"<sheetData>" + HEADER + NUMBERS + b"</sheetData>", styles=FORMAT), r"patients",
    ),
    "columns of a Parquet file": (
        parquet(**{f"c{at}": [1] for at in range(20_000)}), r"has 20000 columns; no table is read with more than 16384",
    ),
    "a text of a Parquet file": (
        parquet(patient_id=["p1"], centre=["x" * LONG]), r"holds a text of more than 32767 characters",
    ),
}  # fmt: skip
CHECKED = """
import sys
from pathlib import Path
from liftseries.cli.main import main
for number in range(int(sys.argv[1])):
    print(f"<{number}>", main(["check", f"{number}", "--quiet"]), "", sep="\\n", flush=True)
"""


@pytest.fixture(scope="module")
def said(tmp_path_factory) -> dict[str, tuple[str, str]]:
    """What `check` said of each study, and its exit status."""
    folder = tmp_path_factory.mktemp("costly")
    for number, (write, _) in enumerate(COSTLY.values()):
        write(write_study(folder / str(number)))

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))

    done = subprocess.run(
        [sys.executable, "-c", CHECKED, str(len(COSTLY))], cwd=folder, capture_output=True, text=True, preexec_fn=limit
    )
    ended = re.findall(r"(.*?)^<(\d+)>\n(\d)\n", done.stdout, re.M | re.S)
    assert [int(number) for _, number, _ in ended] == list(range(len(COSTLY))), done.stderr[-2000:]
    assert "Traceback" not in done.stderr, done.stderr
    return {name: (words, status) for name, (words, _, status) in zip(COSTLY, ended, strict=True)}


@pytest.mark.parametrize("name", COSTLY)
def test_what_costs_too_much_is_refused_in_words(said, name):
    words, status = said[name]
    words = re.sub(r"\s+\[\w+\]\n\s+", ": ", words)
    assert status == "1", words
    assert re.search(COSTLY[name][1], words, re.S), words[-3000:]
    assert len(words) < 100_000  # nobody reads more


def test_texts_as_long_as_a_spreadsheet_takes_are_read(tmp_path):
    """The innocent neighbour of a cell that is too long."""
    from liftseries.intake.files.csv_files import read_csv
    from liftseries.study.plan_files import Source

    longest = "x" * (LONG - 1)
    (tmp_path / "a.csv").write_text(f"patient_id,centre\np1,{longest}\n", encoding="utf-8")
    assert read_csv(Source("a.csv", tmp_path / "a.csv", None)).records[1] == ["p1", longest]


def test_a_file_that_grows_all_the_time_is_hashed_to_where_it_ended(tmp_path, monkeypatch):
    from hashlib import sha256 as hashed

    from liftseries.base import reading

    path = tmp_path / "a.csv"
    path.write_bytes(b"0123456789")
    opened = reading._opened

    class Growing:
        """Each read of it is followed by a write of more."""

        def __init__(self, file):
            self.file, self.fileno = file, file.fileno

        def read(self, size: int) -> bytes:
            part = self.file.read(size)
            with path.open("ab") as more:
                more.write(b"more")
            return part

    @contextmanager
    def growing(file: Path):
        with opened(file) as was:
            yield Growing(was)

    monkeypatch.setattr(reading, "_opened", growing)
    monkeypatch.setattr(reading, "AT_ONCE", 4)
    assert reading.sha256(path) == hashed(b"0123456789").hexdigest()
    assert path.read_bytes() == b"0123456789" + 3 * b"more"
