"""A CSV file of plain lines, read a column at a time: the very cells that the careful reader gives, many times sooner.

A file is plain where it has no quotation mark, no blank after a separator, no empty line and as many cells in every
line as in the first. Of any other file nothing is said here: the careful reader (`csv_files`) reads and tells of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from liftseries.intake.files.grid import BLANKS, LONGEST_TEXT, MOST_COLUMNS, is_blank, object_array
from liftseries.intake.files.header_line import name_in

MOST_CELLS = 100_000_000
BYTES_AT_ONCE = 2**24
UTF8_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class PlainColumns:
    """The lines of a plain file, the first of them its header.

    Attributes
    ----------
    distinct : a list of different texts a column
    codes : shape (n_lines,) each, which of them stands in a line
    """

    distinct: Sequence[Sequence[str]]
    codes: Sequence[np.ndarray]

    def line(self, at: int) -> list[str]:
        """The cells of a line, counted from 0."""
        return [texts[codes[at]] for texts, codes in zip(self.distinct, self.codes, strict=True)]

    def columns(self, lines: np.ndarray) -> list[np.ndarray]:
        """The cells of some lines, an object array a column; equal texts are one text in memory."""
        return [object_array(texts)[codes[lines]] for texts, codes in zip(self.distinct, self.codes, strict=True)]

    def filled(self) -> np.ndarray:
        """The lines with any cell that is not blank, counted from 0."""
        blank = np.ones(len(self.codes[0]), bool)
        for texts, codes in zip(self.distinct, self.codes, strict=True):
            # A text that begins with no blank is none: most are settled by their first letter.
            blank &= np.fromiter((text[:1] in BLANKS and is_blank(text) for text in texts), bool, len(texts))[codes]
            if not blank.any():
                break
        return np.flatnonzero(~blank)

    def beginning_as(self, cell: object, lines: np.ndarray) -> np.ndarray:
        """Those of some lines whose first cell, compared as names are, is that cell."""
        name, texts = name_in(cell), self.distinct[0]
        same = np.fromiter((name in text.lower() and name_in(text) == name for text in texts), bool, len(texts))
        return lines[same[self.codes[0][lines]]]


def plain_columns(data: bytes, delimiter: str) -> PlainColumns | None:
    """The cells of a plain file; None where it is not plain, or has more than the careful reader would take as such.

    Parameters
    ----------
    data : the bytes of the file
    delimiter : one character
    """
    import pyarrow as pa
    from pyarrow import csv

    data = data.removeprefix(UTF8_MARK)
    if not _is_plain(data, delimiter.encode()):
        return None
    width = data.count(delimiter.encode(), 0, data.find(b"\n") % (len(data) + 1)) + 1
    if width > MOST_COLUMNS or width * (data.count(b"\n") + 1) > MOST_CELLS:
        return None
    pool = pa.system_memory_pool()  # the other one takes a GiB of addresses at once
    texts = pa.dictionary(pa.int32(), pa.string())
    try:
        table = csv.read_csv(
            pa.BufferReader(data),
            csv.ReadOptions(use_threads=False, block_size=BYTES_AT_ONCE, autogenerate_column_names=True),
            csv.ParseOptions(delimiter=delimiter, quote_char=False, double_quote=False, ignore_empty_lines=False),
            csv.ConvertOptions(column_types={f"f{at}": texts for at in range(width)}, strings_can_be_null=False),
            memory_pool=pool,
        )
    except pa.ArrowException:  # lines of another length, no UTF-8
        return None
    distinct, codes = [], []
    for column in table.unify_dictionaries(memory_pool=pool).columns:
        distinct.append(column.chunk(0).dictionary.to_pylist())
        codes.append(np.concatenate([chunk.indices.to_numpy() for chunk in column.chunks]))
    too_long = any(len(text) > LONGEST_TEXT for texts in distinct for text in texts)
    return None if too_long else PlainColumns(distinct, codes)


def _is_plain(data: bytes, delimiter: bytes) -> bool:
    """Whether what the careful reader settles or tells of a line cannot be there, but for the number of its cells."""
    newline = b"\r\n" if b"\r" in data else b"\n"
    if newline == b"\r\n" and not data.count(b"\r") == data.count(b"\n") == data.count(newline):
        return False
    if not data or data.startswith((newline, b" ")) or data.endswith(newline * 2):
        return False
    return not any(sign in data for sign in (b'"', b"\0", newline * 2, delimiter + b" ", b"\n "))
