"""Workbooks and Parquet files as other programs store them, for tests: one part or column of a sound study replaced."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from studies import as_typed, tables, write_plan, write_study


def rewrite(path: Path, part: str, change: Callable[[bytes], bytes]) -> None:
    """Puts one part of a workbook, a zip of XML files, through a function."""
    with zipfile.ZipFile(path) as parts:
        contents = {name: parts.read(name) for name in parts.namelist()}
    contents[part] = change(contents[part])
    with zipfile.ZipFile(path, "w") as parts:
        for name, data in contents.items():
            parts.writestr(name, data)


def replaced(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    """The change of something that stands once."""

    def change(part: bytes) -> bytes:
        assert part.count(old) == 1
        return part.replace(old, new)

    return change


def with_patients(folder: Path, **columns: pa.Array) -> Path:
    """The study with its patients as Parquet, some of their columns replaced."""
    write_study(folder)
    table = pa.Table.from_pandas(as_typed(tables()["patients"]), preserve_index=False)
    for name, values in columns.items():
        table = table.set_column(table.column_names.index(name), name, values)
    pq.write_table(table, folder / "patients.parquet")
    write_plan(folder, {name: f"{name}.csv" for name in tables()} | {"patients": "patients.parquet"})
    return folder
