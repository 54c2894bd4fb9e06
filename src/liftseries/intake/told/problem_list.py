"""Every problem as a list: a workbook with a sheet a centre, ready to be sent to it, or a CSV with the centre first.

No text of a cell is in it but the centre's name; what a finding says may hold numbers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from liftseries.base.errors import UsageError
from liftseries.base.outputs import no_formula, write_csv, written_whole
from liftseries.intake.told.causes import parted
from liftseries.study.plan import Plan
from liftseries.study.plan_files import PLAN_FILE

WIDTHS = {"file": 24, "row": 8, "column": 22, "place": 40, "what stands there": 18, "what is wrong": 60,
          "what to do": 60, "rule": 26}  # fmt: skip
NO_CENTRE = "whole study"
MOST_ROWS = 1_000_000  # of a sheet; a workbook holds 1,048,576
NOT_IN_A_TITLE = re.compile(r"[\[\]:*?/\\'\x00-\x1f]")


def check_may_be_written(plan: Plan, path: Path) -> None:
    """Refuses the study's own files and formats that are none, before any work.

    Raises
    ------
    UsageError
    """
    own = {file.resolve() for file in (plan.folder / PLAN_FILE, *plan.files())}
    if path.resolve() in own or path.suffix.lower() not in (".xlsx", ".csv"):
        raise UsageError(f"--list {path}: name a file of its own that ends in .xlsx or .csv.")


def write_problems(findings: pd.DataFrame, centres: Sequence[str], path: Path) -> None:
    """Writes the findings, over an older list.

    Parameters
    ----------
    findings, centres : as in `Intake`
    path : .xlsx or .csv

    Raises
    ------
    UsageError
        It cannot be written.
    """
    said = [parted(message) for message in findings["message"]]
    problems = pd.DataFrame(
        {
            "centre": [centre or NO_CENTRE for centre in centres],
            "file": findings["file"],
            "row": findings["row"],
            "column": findings["column"],
            "place": findings["place"],
            "what stands there": findings["value_class"],
            "what is wrong": [told for told, _ in said],
            "what to do": [remedy for _, remedy in said],
            "rule": findings["rule"],
        }
    )
    try:
        if path.suffix.lower() == ".csv":
            write_csv(path, problems)
        else:
            _write_book(problems, path)
    except OSError as error:
        raise UsageError(f"--list {path}: cannot be written ({error.strerror}). Name another place.") from None


def _write_book(problems: pd.DataFrame, path: Path) -> None:
    from openpyxl import Workbook

    book, titles = Workbook(write_only=True), set()
    for centre, rows in problems.groupby("centre", sort=False) if len(problems) else [("no problem", problems)]:
        for start in range(0, max(len(rows), 1), MOST_ROWS):
            sheet = book.create_sheet(_title(str(centre), titles))
            sheet.freeze_panes = "A2"
            for letter, width in zip("ABCDEFGH", WIDTHS.values(), strict=True):
                sheet.column_dimensions[letter].width = width
            sheet.append(list(WIDTHS))
            part = rows[list(WIDTHS)].iloc[start : start + MOST_ROWS].astype(object)
            for line in part.where(part.notna(), None).itertuples(index=False, name=None):
                sheet.append([no_formula(cell) for cell in line])
    with written_whole(path) as temporary:
        book.save(temporary)


def _title(centre: str, taken: set[str]) -> str:
    """A sheet's name: 31 characters at most, none that is forbidden, no two alike."""
    plain = NOT_IN_A_TITLE.sub(" ", centre).strip()[:31] or "centre"
    title, number = plain, 1
    while title.casefold() in taken:
        number += 1
        title = f"{plain[: 30 - len(str(number))]} {number}"
    taken.add(title.casefold())
    return title
