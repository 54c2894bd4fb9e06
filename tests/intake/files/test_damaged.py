"""Files that are damaged, locked, missing or something else: one problem a file, in words."""

from __future__ import annotations

import re
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from stored import rewrite, with_patients
from studies import tables, write_plan, write_study

from liftseries.base import reading
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan


def problems(folder) -> list[str]:
    return [str(problem) for problem in check_study(read_plan(folder))[1]]


def only_problem(folder) -> str:
    found = problems(folder)
    assert len(found) == 1, found
    return found[0]


def with_patients_in(folder: Path, file: str, content: bytes) -> Path:
    write_study(folder)
    (folder / file).write_bytes(content)
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": file})
    return folder


@pytest.mark.parametrize("ending", ["xlsx", "parquet"])
@pytest.mark.parametrize("share", [0.1, 0.9])
def test_file_that_was_cut_off(tmp_path, ending, share):
    folder = write_study(tmp_path, ending=ending)
    path = folder / ("study.xlsx" if ending == "xlsx" else "patients.parquet")
    path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
    # The workbook was to give six tables, and is one fault.
    assert only_problem(folder).startswith(f"{path.name}: is no ")


def test_parquet_with_its_ends_whole_and_garbage_between(tmp_path):
    folder = write_study(tmp_path, ending="parquet")
    path = folder / "patients.parquet"
    content = bytearray(path.read_bytes())
    content[4:400] = bytes(396)
    path.write_bytes(content)
    assert only_problem(folder) == "patients.parquet: is no Parquet file or a damaged one. Write it again."


def test_parquet_whose_cells_point_at_values_that_are_not_there(tmp_path):
    """Two bits a cell say which of the three texts it holds; 3 is none of them."""
    folder = write_study(tmp_path, ending="parquet")
    path = folder / "patients.parquet"
    pq.write_table(pa.table({"sex": ["a", "b", "c", "a"]}), path, compression="none", write_statistics=False)
    content = path.read_bytes()
    assert content.count(b"\x02\x03\x24\x00") == 1  # width, one group of eight, 0 1 2 0
    path.write_bytes(content.replace(b"\x02\x03\x24\x00", b"\x02\x03\xff\x00"))
    assert only_problem(folder) == (
        "patients.parquet, column 1 (A): is damaged: cells point at values that are not there. Write the file again."
    )


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml"])
@pytest.mark.parametrize("content", [b"", b"<worksheet", bytes(range(256))])
def test_workbook_with_a_broken_part(tmp_path, part, content):
    folder = write_study(tmp_path, ending="xlsx")
    rewrite(folder / "study.xlsx", part, lambda _: content)
    assert only_problem(folder) == "study.xlsx: is no workbook or a damaged one. Open and save it as .xlsx."


@pytest.mark.parametrize(
    ("file", "content", "told"),
    [
        ("p.csv", b"", "p.csv: is empty, without a header line."),
        ("p.csv", b"\xef\xbb\xbf", "p.csv: is empty, without a header line."),
        ("p.csv", "patient_id,centre".encode("utf-16"), "p.csv, line 1: byte 1 is not UTF-8; the file is UTF-16."),
        ("p.csv", "patient_id".encode("utf-16-le"), "p.csv, line 1: byte 2 is zero, so this is no UTF-8 text."),
        ("p.csv", b"patient_id\r\np1\r\nM\xfcller", "p.csv, line 3: byte 18 is not UTF-8."),
        ("p.csv", b"\x89PNG\r\n\x1a\n", "p.csv, line 1: byte 1 is not UTF-8."),
        ("p.xlsx", b"", "p.xlsx: is no workbook or a damaged one."),
        ("p.xlsx", b"patient_id,centre\n", "p.xlsx: is no workbook or a damaged one."),
        # Before 2007 and under a password alike: an OLE container, [MS-CFB] 2.2, its signature.
        ("p.xlsx", bytes.fromhex("D0CF11E0A1B11AE1") + bytes(504), "p.xlsx: is encrypted or of the old .xls kind."),
        ("p.parquet", b"", "p.parquet: is no Parquet file or a damaged one."),
        ("p.parquet", b"PAR1" + bytes(64) + b"PAR1", "p.parquet: is no Parquet file or a damaged one."),
        ("p.doc", b"PK", "p.doc: no format that is read here. Save it as CSV (UTF-8), XLSX or Parquet."),
        ("p.ods", b"PK", "p.ods: an OpenDocument spreadsheet, which is not read here. Save it as XLSX, or each sheet"),
        (
            "p.xls",
            b"\xd0\xcf",
            "p.xls: a workbook of the format of before 2007, which is not read here. Save it as XLSX",
        ),
    ],
)
def test_content_that_is_no_table(tmp_path, file, content, told):
    assert only_problem(with_patients_in(tmp_path, file, content)).startswith(told)


def test_workbook_under_the_name_of_a_csv(tmp_path):
    content = (write_study(tmp_path / "book", ending="xlsx") / "study.xlsx").read_bytes()
    told = only_problem(with_patients_in(tmp_path / "study", "p.csv", content))
    assert re.match(r"p\.csv, line \d+: byte \d+ is (zero|not UTF-8)", told)


def test_csv_that_was_cut_off_shows_where(tmp_path):
    folder = write_study(tmp_path)
    path = folder / "patients.csv"
    path.write_text(path.read_text().removesuffix(",yes,unknown\n"))
    told = "patients.csv, row 4: 5 cells under 7 column names. Add the missing separators"
    assert [problem.startswith(told) for problem in problems(folder)] == [True]


def test_csv_row_that_lacks_a_cell_is_refused_and_its_values_do_not_move(tmp_path):
    """Nobody can tell which cell is missing: here the last but one, and the last would be read in its place."""
    folder = write_study(tmp_path)
    path = folder / "patients.csv"
    lines = path.read_text().splitlines()
    cells = lines[1].split(",")
    path.write_text("\n".join([lines[0], ",".join([*cells[:-2], cells[-1]]), *lines[2:]]) + "\n")
    assert [told.split(":")[0] for told in problems(folder)] == ["patients.csv, row 2"]


# ── files that cannot be opened ───────────────────────────────────────────────────────────────────


def test_folder_in_the_place_of_a_file(tmp_path):
    folder = write_study(tmp_path)
    (folder / "sites.csv").unlink()
    (folder / "sites.csv").mkdir()
    expected = "study.yaml, tables, sites: sites.csv: is a folder, not a file. Name a file in it."
    assert only_problem(folder) == expected


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_file_that_may_not_be_read(tmp_path, monkeypatch, ending):
    """The refusal is made up, since an administrator may read everything."""
    folder, opened = write_study(tmp_path, ending=ending), reading._without_waiting

    def refuse(path, flags):
        if path.endswith(f".{ending}"):
            raise PermissionError(13, "Permission denied")
        return opened(path, flags)

    monkeypatch.setattr(reading, "_without_waiting", refuse)
    first = "study.xlsx" if ending == "xlsx" else f"patients.{ending}"
    found = problems(folder)
    assert len(found) == (1 if ending == "xlsx" else 6)
    assert found[0] == f"{first}: cannot be opened (Permission denied). Correct its name or who may read it."


def test_name_longer_than_the_system_allows(tmp_path):
    folder = write_study(tmp_path)
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": f"{'p' * 300}.csv"})
    assert "cannot be opened (" in only_problem(folder)


def test_missing_workbook_is_told_once(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    (folder / "study.xlsx").unlink()
    assert only_problem(folder).startswith("study.yaml, tables, patients: study.xlsx: there is no such file.")


# ── Parquet values that are no cells ──────────────────────────────────────────────────────────────

NOT_UTF_8 = pa.array([b"\xff\xfe", b"a", b"b"], pa.binary()).buffers()[1:]
BEYOND = {
    "text that is not UTF-8": pa.StringArray.from_buffers(3, *NOT_UTF_8),
    "dates beyond the calendar": pa.array([2**62] * 3, pa.timestamp("us")),
    "times beyond measure": pa.array([2**62] * 3, pa.duration("s")),
    "bytes": pa.array([b"a", b"b", b"c"]),
    "lists": pa.array([["a"], ["b"], ["c"]]),
}


@pytest.mark.parametrize("values", BEYOND.values(), ids=BEYOND)
def test_parquet_values_that_are_no_cells(tmp_path, values):
    assert only_problem(with_patients(tmp_path, centre=values)).startswith("patients.parquet, column 2 (B): holds ")
