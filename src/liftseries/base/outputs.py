"""How an output file comes to be: written under a temporary name, then renamed.

So whatever carries its final name is whole, also after a power cut.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SUFFIX = ".unfinished"
# What spreadsheets take for the beginning of a formula, also in full width and behind a tab or line end. Source: the
# OWASP Foundation's page "CSV Injection", from memory.
NUMBER_TEXT = re.compile(r"[-+](?:(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?|inf)?")  # -1.5 and a lone dash too
FORMULA_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")


@contextmanager
def written_whole(path: Path | str) -> Iterator[Path]:
    """Gives a temporary path beside `path`; renames it when the block ends well, removes it otherwise."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    # The true ending stays last: libraries choose the format by it.
    temporary = path.with_name(f"{path.stem}{SUFFIX}{path.suffix}")
    try:
        yield temporary
        with temporary.open("rb+") as file:
            os.fsync(file.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path | str, text: str) -> None:
    """UTF-8, Unix line ends."""
    with written_whole(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def write_csv(path: Path | str, table) -> None:
    """A data frame as CSV: numbers in full, true and false in small letters, missing = empty.

    A text that a spreadsheet would take for a formula gets an apostrophe before it; see `no_formula`.
    """
    with written_whole(path) as temporary:
        csv_ready(table).to_csv(temporary, index=False, lineterminator="\n")


def write_parquet(path: Path | str, table) -> None:
    """A data frame as Parquet, its column types kept."""
    with written_whole(path) as temporary:
        table.to_parquet(temporary, index=False)


def csv_ready(table):
    """Booleans (also with missing ones) as `true` and `false`, no text as a formula; everything else as it is."""
    words = {True: "true", False: "false"}
    flags = [name for name in table if table[name].dtype.name in ("bool", "boolean")]
    texts = [name for name in table if table[name].dtype.name in ("object", "category", "string", "str")]
    return table.assign(
        **{name: table[name].map(words, na_action="ignore").astype(object) for name in flags},
        **{name: table[name].astype(object).map(no_formula) for name in texts},
    )


def no_formula(cell):
    """A text with an apostrophe before it where a spreadsheet would compute it; a number, also as a text, as it is."""
    if not isinstance(cell, str) or not cell.startswith(FORMULA_SIGNS):
        return cell
    return cell if NUMBER_TEXT.fullmatch(cell) else f"'{cell}"


def formula_undone(cell):
    """A text of a CSV as it was before `no_formula`."""
    return cell[1:] if isinstance(cell, str) and cell.startswith("'") and no_formula(cell[1:]) == cell else cell


@contextmanager
def remake_folder(path: Path | str) -> Iterator[Path]:
    """Gives an empty folder beside `path`; it takes that name, and the old one's place, when the block ends well."""
    path = Path(path)
    temporary = path.with_name(f"{path.name}{SUFFIX}")
    shutil.rmtree(temporary, ignore_errors=True)
    temporary.mkdir(parents=True)
    try:
        yield temporary
        shutil.rmtree(path, ignore_errors=True)
        temporary.replace(path)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def remove_unfinished(folder: Path) -> None:
    """Takes away what an interrupted run left half written."""
    for path in list(folder.rglob(f"*{SUFFIX}*")):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
