"""Teeth: FDI numbers as they are due, Universal numbers as study.yaml confirms them, and what is neither.

FDI (ISO 3950): quadrant, then position; 1 and 2 are the upper quadrants, 5 to 8 those of deciduous teeth.
Universal: 1 to 16 from the upper right third molar to the upper left one, deciduous teeth A to T. Source: common
practice, as ANSI/ADA specification 3950 sets it beside FDI; written from memory.

Both systems use 14 to 18 and 24 to 28, for other teeth. So a column is judged as a whole, and only study.yaml can
say that it is Universal.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable

from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import in_plain_signs, number_in
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.schema import Column

# Upper premolars and molars.
FDI_OF_UNIVERSAL = {1: 18, 2: 17, 3: 16, 4: 15, 5: 14, 12: 24, 13: 25, 14: 26, 15: 27, 16: 28}
UPPER_BACK_TEETH = frozenset(FDI_OF_UNIVERSAL.values())
UNIVERSAL_ONLY = frozenset(FDI_OF_UNIVERSAL) - UPPER_BACK_TEETH
FDI_ONLY = UPPER_BACK_TEETH - frozenset(FDI_OF_UNIVERSAL)
DECIDUOUS = frozenset(10 * quadrant + position for quadrant in (5, 6, 7, 8) for position in range(1, 6))
DECIDUOUS_LETTER = re.compile("[A-Ta-t]")
PARTED = re.compile(r"([12])\s*[., ]\s*([4-8])")
WRITTEN_DATES = ("%Y-%m-%d", "%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.")
NO_DATE, PERMANENT, A_LEVEL = "tooth_is_no_date", "tooth_is_permanent", "value_is_a_level"
CONFIRMED = "tooth_numbering_is_confirmed"


def read_tooth(cell: object, column: Column, universal: bool) -> Taken | Fault | None:
    """What the rules for teeth say of a cell; None where it is a plain number or nothing of theirs.

    Parameters
    ----------
    cell
        As it stands in the file.
    column
        A column of teeth; its levels are FDI numbers.
    universal
        The user confirmed Universal numbers.
    """
    advice = "Enter the permanent tooth's number."
    if (proposed := _dated(cell)) is not None:
        if universal or not proposed:
            return Fault(NO_DATE, "a date where a tooth is due. Give the column the text format and enter it again.")
        message = "a date where a tooth is due; spreadsheets make one of a dot between quadrant and position."
        return Fault(NO_DATE, f"{message} Enter {proposed} if that is the tooth, in a column of the text format.")
    if isinstance(cell, str) and DECIDUOUS_LETTER.fullmatch(in_plain_signs(cell)):
        return Fault(PERMANENT, f"the letter of a deciduous tooth, where implants replace permanent ones. {advice}")
    number = number_in(cell)
    if number in DECIDUOUS:
        return Fault(
            PERMANENT, f"{plain(number)} is a deciduous tooth in FDI; implants replace permanent ones. {advice}"
        )
    if universal:
        return _translated(number)
    parts = PARTED.fullmatch(in_plain_signs(cell) if isinstance(cell, str) else str(cell))
    if parts:
        tooth = int(parts[1] + parts[2])
        return Taken(tooth, "a mark between quadrant and position", f"tooth {tooth}", "tooth_is_quadrant_and_position")
    if number in UNIVERSAL_ONLY and column.levels:
        # The column as a whole speaks for FDI, or `judged` would have refused it.
        message = f"{plain(number)} is none of {', '.join(map(str, column.levels))}; in Universal numbers it would be"
        return Fault(A_LEVEL, f"{message} {FDI_OF_UNIVERSAL[int(number)]}, but other cells are FDI. Correct the cell.")
    return None


def judged(cells: Iterable[object]) -> Fault | None:
    """A refusal of a whole column that only Universal numbers explain, though study.yaml does not confirm them."""
    numbers = [_tooth_or_none(cell) for cell in cells]
    for_universal = sorted({int(number) for number in numbers if number in UNIVERSAL_ONLY})
    if not for_universal or any(number in FDI_ONLY or number == "parted" for number in numbers):
        return None
    n_universal = sum(number in UNIVERSAL_ONLY for number in numbers)
    n_filled = sum(number is not None for number in numbers)
    told = ", ".join(map(str, for_universal))
    message = (
        f"the numbers {told} ({n_universal} of {n_filled} cells) are upper premolars or molars only in Universal "
        "numbers, and no cell is one only in FDI. If the file is in Universal numbers, add "
        "`reading: {tooth_numbering: universal}` to study.yaml, for all files. Correct the cells if it is not."
    )
    return Fault(CONFIRMED, message)


def _tooth_or_none(cell: object) -> float | str | None:
    if PARTED.fullmatch(in_plain_signs(cell) if isinstance(cell, str) else str(cell)):
        return "parted"
    return number_in(cell)


def _translated(number: float | None) -> Taken | Fault | None:
    if number is None:
        return None
    if tooth := FDI_OF_UNIVERSAL.get(number):
        return Taken(tooth, f"Universal number {plain(number)}", f"tooth {tooth} in FDI", "tooth_is_universal")
    message = f"{plain(number)} is no upper premolar or molar in Universal numbers (1 to 5, 12 to 16)."
    return Fault(A_LEVEL, f"{message} Correct the cell, or the key tooth_numbering if it is an FDI number.")


def _dated(cell: object) -> int | None:
    """The tooth that a date may have been, 0 where it was none, None where the cell is no date."""
    days = [cell] if isinstance(cell, datetime.date) else _written_dates(cell) if isinstance(cell, str) else []
    if not days:
        return None
    # 1.6 becomes 1 June or 6 January, as the spreadsheet's country has it.
    orders = [(first, second) for day in days for first, second in ((day.day, day.month), (day.month, day.day))]
    teeth = {10 * quadrant + position for quadrant, position in orders if position < 10} & UPPER_BACK_TEETH
    return teeth.pop() if len(teeth) == 1 else 0


def _written_dates(text: str) -> list[datetime.date]:
    days = []
    for form in WRITTEN_DATES:
        try:
            days.append(datetime.datetime.strptime(in_plain_signs(text), form))
        except ValueError:
            continue
    return days
