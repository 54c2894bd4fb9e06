"""A small made-up study that is valid in every cell, and a way to write it with chosen changes.

    write_study(tmp_path, {"sites": lambda sites: sites.assign(approach="freehand")})

gives a folder that `liftseries.study.plan.read_plan` reads.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd

PATIENTS = """
patient_id | centre | age_years | sex    | smoking | diabetes | periodontitis
p1         | north  | 54        | female | never   | no       | no
p2         | north  | 61        | male   | current | no       | yes
p3         | south  | 47        | female | former  | yes      | unknown
"""
# Turned: a line a column.
SITES = """
site_id             | s1        | s2           | s3        | s4
patient_id          | p1        | p2           | p2        | p3
operator            | o1        | o1           | o2        | o2
operator_case_no    | 1         | 2            | 1         | 2
surgery_year        | 2018      | 2019         | 2019      | 2020
tooth               | 16        | 26           | 17        | 15
approach            | guided    | guided       | freehand  | freehand
protocol            | A         | A            | B         | B
rbh_min_mm          | 5.2       | 6            | 4.4       | 7
rbh_max_mm          | 6.1       | 7.5          | 5         | 7
soft_tissue_mm      | 2.5       |              | 3         | 2
septum              | no        | yes          | no        | no
implant_diameter_mm | 4.1       | 4.1          | 4.8       | 3.6
implant_length_mm   | 9         | 8.5          | 9         | 9.5
platform_depth_mm   | 0.5       | 0            | 1         | 0
guide_offset_mm     | 9         | 9            |           |
graft               | none      | xenograft    | none      | mixed
perforation         | no        | unknown      | yes       | no
perforation_test    | valsalva  | none         | endoscopy | probe
placement           | same_day  |              | staged    | none
torque_ncm          | 30        |              | 25        |
healing             | submerged | transmucosal | submerged |
bone_height_post_mm | 9.5       |              | 8         |
"""
STEPS = """
site_id | step_no | instrument_id | stop_id | intended_depth_mm | speed_rpm | finding
s1      | 1       | wide-13       | off-9   | 4.5               | 600       | closed
s1      | 2       | probe-13      | off-9   | 4.5               |           | closed
s1      | 3       | wide-13       | off-8   | 5.5               | 600       | open
s2      | 1       | wide-13       | off-8   |                   | 700       | not_tested
s2      | 2       | wide-13       | leave-6 |                   | 700       | open
s3      | 1       | hand-12       | off-8   | 4                 | 500       | closed
s3      | 2       | hand-12       |         |                   | 500       | open
"""
VISITS = """
site_id | months | status       | bone_height_mm | marginal_bone_mm | complication
s1      | 0      | functioning  | 9.4            | 0.1              | none
s1      | 12     | functioning  | 9.0            | 0.4              | none
s1      | 25.5   | failed       |                |                  | infection
s2      | 0.5    | functioning  | 9.1            |                  | vertigo
s2      | 14     | patient_died |                |                  |
s3      | 6      | not_examined |                |                  |
s3      | 10     | functioning  | 8              | -0.2             | none
"""
INSTRUMENTS = """
instrument_id | role     | approach | diameter_mm | length_mm | guide_shank_mm
wide-13       | widening | guided   | 3.4         | 13        | 8
probe-13      | gauge    | guided   | 2.8         | 13        |
hand-12       | pilot    | freehand | 2           | 12        |
"""
STOPS = """
stop_id | marking_mm | marking_means | marked_on_length_mm
off-8   | 8          | length        |
off-9   | 9          | length        |
leave-6 | 6          | depth         | 13
"""
TEXTS = {
    "patients": PATIENTS,
    "sites": SITES,
    "steps": STEPS,
    "visits": VISITS,
    "instruments": INSTRUMENTS,
    "stops": STOPS,
}

Tables = dict[str, pd.DataFrame]
Change = Callable[[pd.DataFrame], pd.DataFrame] | pd.DataFrame | None


def grid(text: str) -> pd.DataFrame:
    """A table drawn with `|`; every cell a text, empty where nothing stands."""
    header, *rows = ([cell.strip() for cell in line.split("|")] for line in text.strip().splitlines())
    return pd.DataFrame(rows, columns=header, dtype=object)


def turned(drawn: pd.DataFrame) -> pd.DataFrame:
    """A grid drawn with a line a column."""
    cells = [[*drawn.columns], *drawn.to_numpy().tolist()]
    return pd.DataFrame(list(zip(*cells, strict=True))[1:], columns=[line[0] for line in cells], dtype=object)


def tables() -> Tables:
    """The six tables as texts."""
    drawn = {name: grid(text) for name, text in TEXTS.items()}
    return {**drawn, "sites": turned(drawn["sites"])}


def changed(changes: Mapping[str, Change]) -> Tables:
    """The tables, each replaced, put through a function, or left out (None)."""
    result = tables()
    for name, change in changes.items():
        if change is None:
            del result[name]
        else:
            result[name] = change(result[name]) if callable(change) else change
    return result


def cell(row: int, column: str, value: object) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """A change of one cell; `row` as a spreadsheet shows it, so the first row is 2."""

    def change(table: pd.DataFrame) -> pd.DataFrame:
        table = table.copy()
        if column not in table:
            table[column] = ""
        table.loc[row - 2, column] = value
        return table

    return change


def cells(*places: tuple[int, str, object]) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """Several changes like `cell`."""

    def change(table: pd.DataFrame) -> pd.DataFrame:
        for place in places:
            table = cell(*place)(table)
        return table

    return change


def added(*rows: Mapping[str, object]) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """A change that appends rows; what is not given is as in the table's last row."""

    def change(table: pd.DataFrame) -> pd.DataFrame:
        more = pd.DataFrame([{**table.iloc[-1], **row} for row in rows])
        return pd.concat([table, more], ignore_index=True)

    return change


def write_study(
    folder: Path,
    changes: Mapping[str, Change] | None = None,
    ending: str = "csv",
    plan: str = "",
    **csv_options,
) -> Path:
    """Writes the study and gives its folder.

    Parameters
    ----------
    folder
        Made where it is missing.
    changes : table -> a table, a function of the table, or None to leave it out
    ending : csv, xlsx (one workbook, a sheet a table) or parquet
    plan
        More lines for study.yaml, such as `invalid_rows: set_aside`.
    csv_options
        For `DataFrame.to_csv`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    studied = changed(changes or {})
    files = {name: f"study.xlsx#{name}" if ending == "xlsx" else f"{name}.{ending}" for name in studied}
    if ending == "xlsx":
        write_workbook(folder / "study.xlsx", studied)
    for name, table in studied.items():
        if ending == "csv":
            table.to_csv(folder / files[name], **{"index": False, **csv_options})
        elif ending == "parquet":
            as_typed(table).to_parquet(folder / files[name])
    write_plan(folder, files, plan)
    return folder


def write_plan(folder: Path, files: Mapping[str, str | Iterable[str]], more: str = "") -> None:
    """A study.yaml that names the files."""
    listed = "".join(
        f"  {name}: {file}\n" if isinstance(file, str) else f"  {name}: [{', '.join(file)}]\n"
        for name, file in files.items()
    )
    (folder / "study.yaml").write_text(f"tables:\n{listed}{more}\n", encoding="utf-8")


def write_shuffled(folder: Path, tables: Tables, seed: int, n_files: int, more: str = "") -> None:
    """The tables with rows and columns in another order, each split into files that are named in another order."""
    draw, files = np.random.default_rng(seed), {}
    folder.mkdir(parents=True)
    for name, table in tables.items():
        table = table.iloc[draw.permutation(len(table))][list(draw.permutation(list(table)))]
        names = [f"{name}_{k}.csv" for k in range(n_files)]
        for file, rows in zip(names, np.array_split(np.arange(len(table)), n_files), strict=True):
            table.iloc[rows].to_csv(folder / file, index=False)
        files[name] = names[::-1]
    write_plan(folder, files, more)


def write_workbook(path: Path, sheets: Mapping[str, pd.DataFrame]) -> None:
    """Numbers as numbers, as a spreadsheet program would store them."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(table.columns))
        for row in table.itertuples(index=False):
            sheet.append([typed(value) for value in row])
    book.save(path)


def as_typed(table: pd.DataFrame) -> pd.DataFrame:
    """Texts that are numbers as numbers, empty ones missing; a mixed column stays text."""
    typed_columns = {}
    for name, column in table.items():
        values = [typed(value) for value in column]
        numeric = all(value is None or isinstance(value, int | float) for value in values)
        typed_columns[name] = pd.Series(values if numeric else [None if v in ("", None) else str(v) for v in column])
    return pd.DataFrame(typed_columns)


def typed(value: object) -> object:
    """A cell as a number where its text is a finite one, None where it is empty."""
    if not isinstance(value, str) or isinstance(value, datetime.date):
        return value
    if not value:
        return None
    try:
        number = int(value) if value.lstrip("-").isdigit() else float(value)
    except ValueError:
        return value
    return number if math.isfinite(number) else value
