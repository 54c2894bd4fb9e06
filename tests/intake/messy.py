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

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from studies import write_study

from liftseries.intake.corrections import Corrections
from liftseries.intake.draft import Draft
from liftseries.intake.study import checked_drafts
from liftseries.plan import read_plan

# Kind of fault -> table, cell, what is typed there.
TYPED = {
    "a tooth with blanks around it": ("sites", "F2", " 16 "),
    "a tooth with a dot": ("sites", "F3", "1.6"),
    "a tooth that became a date": ("sites", "F4", datetime.date(2021, 6, 1)),
    "a deciduous tooth": ("sites", "F5", 55),
    "a decimal comma as text": ("sites", "I2", "5,2"),
    "a unit in the cell": ("sites", "J2", "6.1 mm"),
    "centimetres typed for millimetres": ("sites", "M5", 0.36),
    "a mark for thousands": ("steps", "F2", "1.200"),
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
        study = write_messy(Path(name))
        print("| seeded fault | what happens | rule |\n|---|---|---|")
        for kind, told in fates(study).items():
            what, rule = told[0] if told else ("NOTHING", "")
            print(f"| {kind} | {what} | {rule} |")
        print(f"\n{sum(map(bool, fates(study).values()))} told; by pandas.read_excel: {told_by_pandas(study)}")
