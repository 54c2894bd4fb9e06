"""Parquet to raw cells, a column at a time."""

from __future__ import annotations

import numpy as np

from liftseries.base.reading import content
from liftseries.intake.files.grid import LONGEST_TEXT, MOST_COLUMNS, Unreadable, is_blank, letters, object_array
from liftseries.study.plan_files import Source

MOST_CELLS = 100_000_000
MOST_BYTES = 2 * 2**30  # unpacked, as the file declares it


def read_parquet(source: Source) -> tuple[list[str], list[np.ndarray], np.ndarray]:
    """The column names, the cells of each column as Python values, and the rows with any; a NaN is an empty cell.

    Raises
    ------
    Unreadable
        No Parquet, damaged, too large, or with columns that hold no cells.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    label = source.told
    try:
        # Not read_table, which takes columns from folder names such as `year=2020`.
        packed = content(source.path, MOST_BYTES)
        if len(packed) > MOST_BYTES:
            raise Unreadable(label, f"is larger than {MOST_BYTES >> 20} MB. Keep the table's columns and rows only.")
        data = pa.BufferReader(packed)
        with pq.ParquetFile(data) as file:
            _check_size(file, label)
            # As dictionaries, for a text that stands in every row is stored once and must not be spread.
            texts = [field.name for field in file.schema_arrow if _is_text(field.type)]
        data.seek(0)
        with pq.ParquetFile(data, read_dictionary=texts) as file:
            table = file.read(use_threads=False)
    except (pa.ArrowException, OSError, ValueError):
        raise Unreadable(label, "is no Parquet file or a damaged one. Write it again.") from None
    # An index that a data frame left behind is no column of the table.
    kept = [name for name in table.column_names if not name.startswith("__index_level_")]
    table = table.select(kept) if len(set(kept)) == len(kept) else table
    if not table.column_names:
        raise Unreadable(label, "has no columns. Start from the table that `liftseries new` writes.")
    columns, filled = [], np.zeros(table.num_rows, bool)
    for position, column in enumerate(table.columns):
        distinct, codes = _plain(column, label, position)
        filled |= ~np.array([*map(is_blank, distinct), True], bool)[codes]
        columns.append(object_array([*distinct, None])[codes])
    return list(table.column_names), columns, filled


def _check_size(file, label: str) -> None:
    about = file.metadata
    if about.num_columns > MOST_COLUMNS:
        message = f"has {about.num_columns} columns; no table is read with more than {MOST_COLUMNS}."
        raise Unreadable(label, f"{message} Keep the table's columns only.")
    declared = sum(about.row_group(number).total_byte_size for number in range(about.num_row_groups))
    if about.num_rows * max(1, about.num_columns) > MOST_CELLS or declared > MOST_BYTES:
        message = f"more than {MOST_CELLS} cells, or more than {MOST_BYTES >> 20} MB unpacked."
        raise Unreadable(label, f"{message} Keep the table's columns and rows only.")


def _is_text(kind) -> bool:
    from pyarrow import types

    return types.is_string(kind) or types.is_large_string(kind)


def _plain(column, label: str, position: int) -> tuple[list[object], np.ndarray]:
    """The different values of a column, and which of them stands in a row, -1 for none."""
    import pyarrow as pa

    place = f"{label}, column {position + 1} ({letters(position)})"
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    if not any(is_kind(kind) for is_kind in _kinds()):
        message = "holds neither text, numbers, yes/no values nor dates. Write it as text or numbers."
        raise Unreadable(place, message)
    try:
        return _of_dictionary(column if pa.types.is_dictionary(column.type) else column.dictionary_encode(), place)
    except (pa.ArrowException, ValueError, OverflowError):
        message = "holds text that is not UTF-8, or dates beyond the calendar. Write it as text or numbers."
        raise Unreadable(place, message) from None


def _of_dictionary(column, place: str) -> tuple[list[object], np.ndarray]:
    """Each value made once, however many rows of a chunk hold it."""
    values, codes = [], [np.zeros(0, np.int64)]
    for chunk in column.chunks:
        distinct = _values(chunk.dictionary, chunk.dictionary.type)
        if any(isinstance(value, str) and len(value) > LONGEST_TEXT for value in distinct):
            raise Unreadable(place, f"holds a text of more than {LONGEST_TEXT} characters. Shorten it.")
        holds = np.array([value is not None and value == value for value in distinct] or [False])
        known = chunk.indices.is_valid().to_numpy(zero_copy_only=False)
        at = chunk.indices.fill_null(0).to_numpy(zero_copy_only=False).astype(np.int64)
        if ((at < 0) | (at >= len(distinct)))[known].any():
            raise Unreadable(place, "is damaged: cells point at values that are not there. Write the file again.")
        codes.append(np.where(known & holds[at], at + len(values), -1))
        values += distinct
    return values, np.concatenate(codes)


def _values(column, kind) -> list[object]:
    import pyarrow as pa

    values = (column.cast(pa.float64()) if pa.types.is_decimal(kind) else column).to_pylist()
    if kind in (pa.float16(), pa.float32()):
        # 5.2 in single precision is 5.19999981 in double; its shortest decimal is what was meant.
        single = kind.to_pandas_dtype()
        values = [None if value is None else float(str(single(value))) for value in values]
    return values


def _kinds() -> tuple:
    from pyarrow import types

    texts = (types.is_string, types.is_large_string, types.is_string_view)
    numbers = (types.is_integer, types.is_floating, types.is_decimal, types.is_boolean)
    return (*texts, *numbers, types.is_temporal, types.is_null)
