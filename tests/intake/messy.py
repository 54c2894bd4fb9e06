"""A workbook with a seeded fault of every kind that centres send, and where each of them stands.

    python tests/intake/messy.py

prints what becomes of each, and how many of them a plain `pandas.read_excel` tells.
"""

from __future__ import annotations

import datetime
import sys
import tempfile
import warnings
from pathlib import Path

import openpyxl
import pandas as pd
from openpyxl.worksheet.worksheet import Worksheet

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from studies import write_study

from liftseries.intake.corrections.lines import Corrections
from liftseries.intake.draft.draft import Draft
from liftseries.intake.study import checked_drafts
from liftseries.study.plan import read_plan

N_MORE_SITES = 8

# Kind of fault -> table, cell, what is typed there.
TYPED = {
    "a tooth as 16.0 in a text": ("sites", "F2", "16.0"),
    "a tooth with non-breaking blanks around it": ("sites", "F3", "\u00a026\u00a0"),
    "a tooth with a dot": ("sites", "F6", "1.6"),
    "a tooth that became a date": ("sites", "F4", datetime.date(2021, 6, 1)),
    "a deciduous tooth": ("sites", "F5", 55),
    "a Universal number among FDI ones": ("sites", "F7", 3),
    "a decimal comma as text": ("sites", "I2", "5,2"),
    "a unit in the cell": ("sites", "J2", "6.1 mm"),
    "another unit in the cell": ("sites", "J3", "0.75 cm"),
    "centimetres typed for millimetres": ("sites", "I8", 0.52),
    "centimetres that are out of range": ("sites", "M5", 0.36),
    "a mark for thousands, or a decimal mark": ("steps", "F2", "1.200"),
    "a dash for missing": ("sites", "K2", "-"),
    "a question mark for missing": ("sites", "U2", "?"),
    "n/a": ("sites", "W2", "n/a"),
    "a level in other words": ("sites", "R2", "ja"),
    "a number for a level": ("patients", "F2", 1),
    "an id that stands twice": ("stops", "A3", "off-8"),
    "a site without patient": ("sites", "B5", "p9"),
    "a formula without a stored value": ("patients", "C2", "=50+4"),
    "an error cell": ("patients", "C3", "#DIV/0!"),
    "a date in the place of a number": ("patients", "C4", datetime.date(1977, 1, 1)),
    "a text that begins like a formula": ("patients", "B2", "'=HYPERLINK()"),
}


def write_messy(folder: Path) -> Path:
    """The small study as a workbook with all faults of `TYPED` and of `LAYOUT` in it."""
    write_study(folder, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    # Enough sites to tell what a column holds.
    first, *others = [cell.value for cell in book["sites"][2]]
    for copy in range(N_MORE_SITES):
        book["sites"].append([f"{first}-{copy}", *others])
    for table, place, value in TYPED.values():
        cell = book[table][place]
        cell.value = value.removeprefix("'") if isinstance(value, str) else value
        if isinstance(value, str) and value.startswith("'"):
            cell.data_type = "s"
        if value == "#DIV/0!":
            cell.data_type = "e"
    book["visits"].merge_cells("A2:A4")
    book["visits"].merge_cells("D6:E6")
    book["visits"].row_dimensions[7].hidden = True
    book["visits"].column_dimensions["F"].hidden = True
    book["visits"]["B8"].number_format = "0%"
    book["stops"].sheet_state = "hidden"
    book["instruments"].insert_rows(1)
    book["instruments"]["A1"] = "What we drill with"
    book.save(folder / "study.xlsx")
    return folder


# Kind of fault -> table, the place's end, the rule that must tell of it.
LAYOUT = {
    "an id merged down its rows": ("visits", "cell A3, site_id", "merged_cell_holds_for_its_rows"),
    "cells merged across columns": ("visits", "cell D6, bone_height_mm", "cell_is_not_merged"),
    "a hidden row": ("visits", "sheet visits", "row_is_shown"),
    "a hidden column": ("visits", "sheet visits", "column_is_shown"),
    "a percentage": ("visits", "cell B8, months", "number_is_what_it_shows"),
    "a hidden sheet": ("stops", "sheet stops", "hidden_sheet_is_named"),
    "a title above the header": ("instruments", "sheet instruments", "header_is_the_row_of_column_names"),
}


# Kind of fault -> what is done to the sheet of sites, in a study of its own since the whole sheet or column suffers.
WHOLE = {
    "a column in Universal numbers": lambda sheet: _type(sheet, {"F2": 3, "F3": 14, "F4": 13, "F5": 5}),
    "a header that stands twice": lambda sheet: _type(sheet, {"H1": "approach"}),
    "the header a second time": lambda sheet: _insert(sheet, [cell.value for cell in sheet[1]]),
    "column names in two rows": lambda sheet: _part_header(sheet),
    "a row of units below the header": lambda sheet: _insert(sheet, [None] * 8 + ["mm"] * 3),
    "an active filter": lambda sheet: _filter(sheet),
}


def _type(sheet: Worksheet, typed: dict[str, object]) -> None:
    for place, value in typed.items():
        sheet[place] = value


def _insert(sheet: Worksheet, values: list[object]) -> None:
    sheet.insert_rows(2)
    for position, value in enumerate(values, start=1):
        sheet.cell(2, position).value = value


def _part_header(sheet: Worksheet) -> None:
    names = [cell.value for cell in sheet[1]]
    _insert(sheet, [None] * 12 + names[12:])
    for cell in sheet[1][12:]:
        cell.value = None


def _filter(sheet: Worksheet) -> None:
    sheet.auto_filter.ref = "A1:W5"
    sheet.auto_filter.add_filter_column(6, ["guided"])
    for row in (4, 5):
        sheet.row_dimensions[row].hidden = True


def fates_of_whole(folder: Path) -> dict[str, list[tuple[str, str]]]:
    """Like `fates`, for the faults of `WHOLE`; what their valid twin is told as well is left out."""
    found = {}
    for number, (kind, spoil) in enumerate(WHOLE.items()):
        own = write_study(folder / str(number), ending="xlsx")
        sound = _told(checked_drafts(read_plan(own), Corrections())["sites"], "")
        book = openpyxl.load_workbook(own / "study.xlsx")
        spoil(book["sites"])
        book.save(own / "study.xlsx")
        told = _told(checked_drafts(read_plan(own), Corrections())["sites"], "")
        found[kind] = [fate for fate in dict.fromkeys(told) if fate not in sound]
    return found


def fates(folder: Path) -> dict[str, list[tuple[str, str]]]:
    """Kind of fault -> (refused or decided, rule) of all that was told of its place."""
    drafts = checked_drafts(read_plan(folder), Corrections())
    found = {kind: _told(drafts[table], f"cell {place},") for kind, (table, place, _) in TYPED.items()}
    for kind, (table, place, rule) in LAYOUT.items():
        found[kind] = [fate for fate in _told(drafts[table], place) if fate[1] == rule]
    return found


def _told(draft: Draft, place: str) -> list[tuple[str, str]]:
    refused = [("refused", finding.rule) for finding in draft.findings if place in f"{finding.place},"]
    decided = [("decided", decision.rule) for decision in draft.decisions if place in f"{decision.place},"]
    return refused + decided


def told_by_pandas(folder: Path) -> int:
    """Exceptions and warnings of a plain reading of every sheet."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        pd.read_excel(folder / "study.xlsx", sheet_name=None)
    return len(caught)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        study = write_messy(Path(name) / "messy")
        told_of = fates(study) | fates_of_whole(Path(name) / "whole")
        print("| seeded fault | what happens | rule |\n|---|---|---|")
        for kind, told in told_of.items():
            what, rule = told[0] if told else ("NOTHING", "")
            print(f"| {kind} | {what} | {rule} |")
        n_told = sum(map(bool, told_of.values()))
        print(f"\n{n_told} of {len(told_of)} told; by pandas.read_excel: {told_by_pandas(study)}")
