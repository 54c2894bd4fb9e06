"""All cases to review as a workbook: filters, a heading that stays, columns for reviewer and conclusion."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from liftseries.intake.books.workbook_cells import BOLD, WRAPPED, put, shown
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.packing import undated
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

HEAD = PatternFill("solid", fgColor="D9E2EC")
TO_FILL_IN = ("reviewer", "conclusion")
TITLES = {
    "place": "No.",
    "site_id": "Site",
    "unit": "Unit",
    "most_serious": "Most serious reason",
    "reasons": "Reasons",
    "n_reasons": "Number of reasons",
    "failed_months": "Lost, months after placement",
    "reviewer": "Reviewer",
    "conclusion": "Conclusion",
}
WIDTHS = {"reasons": 44, "most_serious": 28, "reviewer": 18, "conclusion": 44, "site_id": 18}


def review_book(listed: pd.DataFrame, rule: pd.DataFrame, words: Words) -> bytes:
    """The workbook; the same bytes at a rerun, and no text that a program takes for a formula.

    Parameters
    ----------
    listed, rule : as `list_cases_to_review` gives them
    words : the names of columns
    """
    book = Workbook()
    titles = dict(zip(rule["name"], rule["title"], strict=True))
    _write_cases(book.active, listed, titles, words)
    _write_rule(book.create_sheet("Listing rule"), rule)
    saved = io.BytesIO()
    book.save(saved)
    return undated(saved.getvalue())


def _write_cases(sheet: Worksheet, listed: pd.DataFrame, titles: Mapping[str, str], words: Words) -> None:
    sheet.title = "Cases to review"
    for at, name in enumerate(listed.columns, start=1):
        _head(sheet, at, TITLES.get(name) or _title(name, words), WIDTHS.get(name, 14))
    for number, (_, case) in enumerate(listed.iterrows(), start=2):
        for at, (name, value) in enumerate(case.items(), start=1):
            _put(sheet, number, at, _in_words(name, value, titles))
    sheet.freeze_panes = "C2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(listed.columns))}{len(listed) + 1}"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddHeader.left.text, sheet.print_title_rows = say("audit_extra.for_committee"), "1:1"


def _write_rule(sheet: Worksheet, rule: pd.DataFrame) -> None:
    for at, (heading, width) in enumerate((("Rank", 8), ("Reason", 48), ("Rule", 70), ("Sites", 8)), start=1):
        _head(sheet, at, heading, width)
    for number, (_, reason) in enumerate(rule.iterrows(), start=2):
        for at, name in enumerate(("rank", "title", "expression", "n_sites"), start=1):
            _put(sheet, number, at, reason[name])
    put(sheet, len(rule) + 3, 2, say("audit_extra.for_committee")).font = BOLD
    sheet.freeze_panes = "A2"


def _head(sheet: Worksheet, at: int, title: str, width: int) -> None:
    cell = put(sheet, 1, at, title)
    cell.font, cell.fill, cell.alignment = BOLD, HEAD, WRAPPED
    sheet.column_dimensions[get_column_letter(at)].width = width


def _title(name: str, words: Words) -> str:
    unit = words.unit(name)
    return words.column(name) + (f", {unit}" if unit else "")


def _in_words(name: str, value, titles: Mapping[str, str]):
    if missing(value) or name in TO_FILL_IN:
        return None
    if name == "reasons":
        return "; ".join(titles.get(one, one) for one in str(value).split())
    return titles.get(value, value) if name == "most_serious" else value


def _put(sheet: Worksheet, row: int, column: int, value) -> None:
    if value is None:
        return
    if isinstance(value, int | float | np.number):
        sheet.cell(row, column).value = float(value) if float(value) % 1 else int(value)
        return
    put(sheet, row, column, shown(str(value))).alignment = WRAPPED
