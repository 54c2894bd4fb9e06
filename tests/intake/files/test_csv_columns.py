"""The quick reader of plain CSV files gives the sheet that the careful one gives, cell by cell, or nothing."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from liftseries.intake.files import read_sheet as reading
from liftseries.intake.files.grid import Unreadable
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.sheet import Sheet
from liftseries.study.plan_files import Source

NAMES = ("site_id", "tooth", "centre")
cells = st.sampled_from(["", " ", "16", "5,2", "a b", " a", "a ", "site_id", "tooth", "mm", "text", "é", "\u00a0"])
lines = st.lists(cells, min_size=1, max_size=4)


@st.composite
def texts(draw) -> bytes:
    """Some lines, mostly as long as the first, mostly below a header that is known; sometimes a quotation mark."""
    separator = draw(st.sampled_from([",", ";"]))
    header = draw(st.sampled_from([["site_id", "tooth"], ["site_id", "tooth", "centre"], ["x", "y"], ["site_id", ""]]))
    body = draw(st.lists(st.one_of(st.lists(cells, min_size=len(header), max_size=len(header)), lines), max_size=6))
    text = draw(st.sampled_from(["\n", "\n", "\r\n", "\r"])).join(separator.join(line) for line in [header, *body])
    ends = draw(st.sampled_from(["", "\n", "\r\n", "\n\n", '\n"a"', "\nsep=,", "\n\0"]))
    starts = draw(st.sampled_from(["", "", "", "\ufeff", "\n", "sep=;\n", " "]))
    return (starts + text + ends).encode()


def told(source: Source, names: tuple[str, ...]) -> dict | str:
    """All that a sheet holds, or why it cannot be read."""
    try:
        sheet = read_sheet(source, "sites", names)
    except Unreadable as error:
        return f"{error.place}: {error.message}"
    return {field.name: getattr(sheet, field.name) for field in fields(Sheet)} | {
        "columns": [column.tolist() for column in sheet.columns],
        "kinds": {(column.dtype, column.shape) for column in sheet.columns},
        "rows": sheet.rows.tolist(),
        "kind": sheet.rows.dtype,
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("plain")


@settings(max_examples=400, deadline=None)
@given(texts(), st.sampled_from([NAMES, ()]))
def test_a_plain_file_is_read_as_the_careful_reader_reads_it(folder, text, names):
    source = Source("sites.csv", folder / "sites.csv", None)
    source.path.write_bytes(text)
    plain = reading.read_plain_csv(source)
    event(f"plain: {plain is not None}")
    quick = told(source, names)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "read_plain_csv", lambda *_: None)
        assert told(source, names) == quick


def test_equal_texts_are_one_text_in_memory(folder):
    source = Source("sites.csv", folder / "sites.csv", None)
    source.path.write_bytes(b"site_id,centre\ns1,north\ns2,north\n")
    assert reading.read_plain_csv(source) is not None
    _, centre = read_sheet(source, "sites", NAMES).columns
    assert centre[0] is centre[1]


@pytest.mark.parametrize(
    "text",
    [
        b'site_id,centre\n"s1",north\n',
        b"site_id,centre\ns1, north\n",
        b"site_id,centre\n\ns1,north\n",
        b"site_id,centre\ns1\n",
        b"site_id,centre\ns1,\xff\n",
        b"site_id,centre\ns1," + b"x" * 32_768 + b"\n",
        b"site_id\tcentre\ns1\tnorth\n",
        b"site_id,centre",
    ],
)
def test_what_the_careful_reader_has_to_settle_is_left_to_it(folder, text):
    source = Source("sites.csv", folder / "sites.csv", None)
    source.path.write_bytes(text)
    assert reading.read_plain_csv(source) is None


def test_lines_are_counted_as_a_spreadsheet_counts_them(folder):
    source = Source("sites.csv", folder / "sites.csv", None)
    source.path.write_bytes(b"site_id,centre\ns1,north\n,\nsite_id,centre\ns2,\n")
    sheet = read_sheet(source, "sites", NAMES)
    assert np.array_equal(sheet.rows, [2, 5])
    assert sheet.beside == {4: ["site_id", "centre"]}
