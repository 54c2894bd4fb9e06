"""A centre's folder of tables to a new folder without identifiers and dates; nothing of the old one is touched.

Every column has one fate: replaced, turned from dates, kept or dropped. What has none is refused.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.outputs import remake_folder, write_csv
from liftseries.intake.files.grid import is_blank
from liftseries.intake.identifiers.search import kind_of_header
from liftseries.pseudonyms.tables import Options, header_of, is_direct, name_columns, position_of, tables_of
from liftseries.pseudonyms.values import KINDS, days_of_sites, kept, replaced, undated

LOG = "pseudonymise_log.csv"


def check_folders(source: Path, target: Path) -> None:
    """Refuses what would overwrite or mix.

    Raises
    ------
    UsageError
    """
    if not source.exists():
        raise UsageError(f"{source} is not there. Name the folder or file with the centre's tables.")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise UsageError(f"{target} is there already. Name a folder that is empty or not yet there.")
    home = (source if source.is_dir() else source.parent).resolve()
    if source.is_dir() and (target.resolve().is_relative_to(home) or home.is_relative_to(target.resolve())):
        raise UsageError(f"{target} and {source} lie in each other. Keep them apart.")


def pseudonymise(source: Path, target: Path, key: bytes, options: Options | None = None) -> pd.DataFrame:
    """Writes the tables without identifiers, and the log.

    Parameters
    ----------
    source : a folder of tables, or one file
        A file is known by the name of its table in its own, as in `patients_north.csv`; a workbook by its sheets.
    target : the folder to make
    key : 32 bytes
    options

    Returns
    -------
    The log, without values: file, column, done, filled (how many cells hold something).

    Raises
    ------
    StudyError
        Every column without a fate, every date that cannot be read, every identifier that would remain.
    """
    check_folders(source, target)
    options = options or Options()
    problems: list[Problem] = []
    files = list(tables_of(source, problems))
    for file in files:
        name_columns(file, options, problems)
    asked = options.keep | options.drop | options.replace
    for name in sorted(asked - {name for file in files for name in file.named}):
        problems.append(Problem("command line", f"no table has the column {name}. Correct the name."))
    surgery, placed, first = days_of_sites(files)
    codes: dict[str, tuple[str, str]] = {}
    made, lines = {}, []
    for file in files:
        columns = {}
        for name, position in file.named.items():
            cells = file.sheet.columns[position]
            shown, values, done = name, None, ""
            if name in options.drop:
                shown, done = position_of(position), "dropped, as asked"
            elif name in KINDS or name in options.replace:
                values = replaced(file, name, key, codes, problems)
                done = "replaced by pseudonyms"
            elif name in file.dates:
                shown, values, done = undated(file, name, surgery, placed, first, problems)
            elif is_direct(file, name):
                shown, done = position_of(position), f"dropped: {kind_of_header(header_of(file, name)).words}"
            else:
                values, done = kept(file, name, problems), "kept as it is"
            if values is not None:
                columns[shown] = values
            lines.append([file.out, shown, done, sum(not is_blank(cell) for cell in cells)])
        made[file.out] = pd.DataFrame(columns, dtype=object)
    if problems:
        raise StudyError(problems)
    log = pd.DataFrame(lines, columns=["file", "column", "done", "filled"])
    with remake_folder(target) as folder:
        for name, table in made.items():
            write_csv(folder / name, table)
        write_csv(folder / LOG, log)
    return log
