"""Cells to values: what a text, number, date or oddity of a file means in a column of a given type.

The same number may be written 5.2 or 5,2; blanks around a text and the letter case of a level do not matter. What
a stated rule or study.yaml gives another meaning is `Taken`, and becomes a decision; what cannot be read becomes
missing and a `Fault`, whose message never quotes a text.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from typing import Any

from liftseries.base.numbers import LARGEST_EXACT, plain
from liftseries.base.outputs import FORMULA_SIGNS
from liftseries.base.plain_text import unseen_in
from liftseries.intake.cells.days import read_day
from liftseries.intake.cells.numbers import (
    DAY_AND_MONTH,
    MARKED_NUMBER,
    WRITTEN_DATE,
    in_plain_signs,
    is_day_and_month,
    number_in,
    value_class,
)
from liftseries.intake.cells.teeth import read_tooth
from liftseries.intake.cells.units import with_unit
from liftseries.intake.cells.words import MISSING_SIGNS, all_folded, level_meant, missing_word, word_in
from liftseries.intake.files.grid import BLANKS, Oddity, Refused, is_blank
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.reading import Reading, folded
from liftseries.study.schema import Column

LONGEST_TEXT = 256  # characters of a cell that is a text
CODE = re.compile(rf"[A-Za-z0-9][A-Za-z0-9_-]{{0,{LONGEST_TEXT - 1}}}")
NO_CODE = re.compile(r"[^A-Za-z0-9_\n-]|(?m:^(?:[_-]|$))")  # in lines, any of them
AS_FDI = Reading()  # nothing confirmed
DUE = {
    "integer": "a whole number",
    "number": "a number",
    "text": "a text",
    "category": "a level",
    "date": "a day or a month",
}
WHAT = {"date": "a date", "boolean": "true or false", "error": "an error of the workbook"}
ODDITIES = {
    "formula": Fault(
        "formula_has_a_value",
        "a formula without a stored value. Open and save the workbook, so that its values are stored.",
    ),
    "merged": Fault(
        "cell_is_not_merged",
        "merged with cells of other columns or over other values. Unmerge it and enter what belongs here.",
    ),
    "disguised": Fault(
        "number_is_what_it_shows",
        "a number whose format shows another one, or nothing. Correct the cell, or give it a plain number format.",
    ),
}


def read_cell(cell: object, column: Column, reading: Reading = AS_FDI) -> Any:
    """The value of one cell, None where it is missing, `Taken` where a rule gave it, or a `Fault`."""
    if isinstance(cell, Oddity) and cell.value in ODDITIES:
        return ODDITIES[cell.value]
    if isinstance(cell, Refused):
        return Fault(cell.rule, cell.message)
    if is_blank(cell) or (isinstance(cell, float) and math.isnan(cell)):
        if column.when_empty:
            return column.when_empty
        missing = Fault("value_is_given", f"empty, but every row needs a value. {_fill_in(column)}")
        return missing if column.required else None
    if (told := _as_confirmed(cell, column, reading)) is not None:
        return told
    match column.type:
        case "text":
            return _text(cell)
        case "category":
            return _level(cell, column)
        case "date":
            empty = "" if column.required else ", or leave it empty where there is no value"
            return read_day(cell, f"Enter it as 2025-06-30 or 2025-06{empty}.")
    if column.notation and (tooth := read_tooth(cell, column, reading.tooth_numbering == "universal")):
        return tooth
    number = _number(cell, column)
    return _whole(number, column) if column.type == "integer" else number


def plain_text(cells: Sequence[object], column: Column, reading: Reading) -> list[bool]:
    """Which cells are codes, `site-12`, that `read_cell` gives as they are: large series have millions."""
    if column.type != "text" or column.name in reading.levels or not all(isinstance(cell, str) for cell in cells):
        return [False] * len(cells)
    words = {*all_folded((*reading.not_recorded, *reading.not_applicable)), *MISSING_SIGNS}
    # Mostly all of them are, which is seen at once in the column written as lines.
    lines = "\n".join(cells)
    are_codes = (
        lines.count("\n") == len(cells) - 1 and not NO_CODE.search(lines) and max(map(len, cells)) <= LONGEST_TEXT
    )
    return [
        (are_codes or CODE.fullmatch(cell) is not None)
        and cell.lower() not in words
        and not DAY_AND_MONTH.fullmatch(cell)
        for cell in cells
    ]


# ── words that study.yaml confirms, or might ──────────────────────────────────────────────────────────────────


def _as_confirmed(cell: object, column: Column, reading: Reading) -> Taken | Fault | None:
    """What a word means by study.yaml; a refusal of one that it might confirm as missing; None for anything else."""
    if column.name in reading.levels:
        # A column of that name in another table may have other levels.
        levels = {str(level) for level in column.levels}
        words = {folded(word): level for word, level in reading.levels[column.name].items() if str(level) in levels}
        if level := words.get(word_in(cell)):
            value = int(level) if column.type == "integer" else level
            return Taken(value, "a word that study.yaml gives a level", str(level), "level_is_confirmed")
    if not isinstance(cell, str) or (column.type == "category" and word_in(cell) in map(folded, column.levels)):
        return None
    word = word_in(cell)
    if word in all_folded(reading.not_recorded):
        return _not_recorded(column)
    if word in all_folded(reading.not_applicable):
        return _not_applicable(column)
    known = missing_word(cell, column)
    return _unconfirmed(known, column) if known and not level_meant(cell, column)[0] else None


def _not_recorded(column: Column) -> Taken | Fault:
    stood, rule = "a word for a missing value", "missing_word_is_confirmed"
    if "unknown" in column.levels:
        return Taken("unknown", stood, "unknown", rule)
    if column.required:
        return Fault("value_is_given", f"{stood}, but every row needs a value. {_fill_in(column)}")
    if column.when_empty or (column.type == "text" and not column.own):
        meaning = column.when_empty or "that there is none"
        message = f"{stood}, but an empty cell here means {meaning}. Enter what is known, or clear the cell."
        return Fault("value_is_given", message)
    return Taken(None, stood, "missing: not recorded", rule)


def _not_applicable(column: Column) -> Taken | Fault:
    stood = "a word for nothing to record"
    if column.required or column.when_empty:
        return Fault("value_is_given", f"{stood}, but this applies to every row. {_fill_in(column)}")
    return Taken(None, stood, "missing: not applicable", "missing_word_is_confirmed", not_applicable=True)


def _unconfirmed(word: str, column: Column) -> Fault:
    """Proposed only where study.yaml could confirm it."""
    refused = _not_recorded(column)
    ways = {"not_recorded": refused, "not_applicable": _not_applicable(column)}
    means = {"not_recorded": "that the value is missing", "not_applicable": "that there is nothing to record"}
    keys = [key for key, verdict in ways.items() if isinstance(verdict, Taken)]
    if not keys:
        return refused
    advice = ", or ".join(f"`{key}` if it means {means[key]}" for key in keys)
    message = f'"{word}" where {DUE[column.type]} is due. Under `reading` in study.yaml, add it to {advice}.'
    return Fault("missing_word_is_confirmed", f"{message} {_correct(column)}", keys[0], word)


# ── by type ───────────────────────────────────────────────────────────────────────────────────────────────────


def _text(cell: object) -> str | Fault:
    text = spelled(cell)
    if text is None:
        kind = value_class(cell)
        advice = "Give the column the text format and enter it again." if kind == "date" else "Mend the cell."
        return Fault("value_is_a_text", f"{WHAT[kind]} where a text is due. {advice}")
    if unseen := unseen_in(text):
        return Fault("text_can_be_seen", f"a character that cannot be seen ({unseen}). Enter the text anew.")
    if len(text) > LONGEST_TEXT:
        message = f"a text of {len(text)} characters, where a name or a label of at most {LONGEST_TEXT} is due."
        return Fault("text_is_short", f"{message} Shorten it.")
    if text.startswith(FORMULA_SIGNS) and number_in(text) is None:
        message = "a text that begins as a formula of a spreadsheet does, with = + - or @."
        return Fault("text_is_no_formula", f"{message} Enter it without that sign.")
    if is_day_and_month(text):
        message = "a day and a month where a text is due; spreadsheets make one of a number with a dot."
        return Fault("value_is_a_text", f"{message} Give the column the text format and enter it again.")
    return text


def spelled(cell: object) -> str | None:
    """A cell as a text: an id, a label; None for what has none, such as a date."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, int):
        return str(cell)  # every digit: a long number may be a key
    if isinstance(cell, float):
        return plain(cell)
    if isinstance(cell, str):
        # One spelling for letters with marks: two that look alike must be the same key.
        return unicodedata.normalize("NFC", cell.strip(BLANKS))
    return None


def _level(cell: object, column: Column) -> str | Taken | Fault:
    levels = {level.casefold(): level for level in column.levels} | {level: level for level in column.levels}
    if isinstance(cell, bool) and ("yes" if cell else "no") in levels:
        level = "yes" if cell else "no"
        return Taken(level, str(cell).lower(), level, "true_is_yes")
    text = spelled(cell)
    if text is not None and (found := levels.get(text, levels.get(text.casefold()))):
        return found
    what = WHAT.get(value_class(cell)) or ("a text" if number_in(cell) is None else "a number")
    message = f"{what} that is none of {', '.join(column.levels)}."
    word, level = level_meant(cell, column)
    if word:
        message = (
            f'{message.rstrip(".")}; "{word}" may mean {level}. Confirm it by `reading: {{levels: …}}` in study.yaml.'
        )
    elif isinstance(cell, str):
        meant = f'levels: {{{column.name}: {{"…": {column.levels[0]}}}}}'
        message += f" Say under `reading` in study.yaml which level the word means (`{meant}`)."
    return Fault("value_is_a_level", f"{message} {_correct(column)}", "levels" if word else "", word, level)


def _number(cell: object, column: Column) -> float | Taken | Fault:
    number = number_in(cell)
    if number is None:
        if isinstance(cell, str) and (told := with_unit(cell, column)):
            return told
        return _no_number(cell, column)
    if not math.isfinite(number):
        return Fault("value_is_finite", f"no finite number. {_correct(column)}")
    if isinstance(cell, str) and in_plain_signs(cell) != cell.strip(BLANKS):
        return Taken(number, "a number with typographic signs", plain(number), "signs_of_numbers_are_plain")
    return number


def _no_number(cell: object, column: Column) -> Fault:
    due = DUE[column.type]
    rule = f"value_is_{due.replace(' ', '_')}"
    is_text = isinstance(cell, str)
    if is_text and is_day_and_month(cell):
        advice = "Spreadsheets make one of a number with a dot; give the column a number format."
        return Fault(rule, f"a day and a month where {due} is due. {advice} {_correct(column)}")
    if value_class(cell) == "date" or (is_text and WRITTEN_DATE.fullmatch(cell.strip(BLANKS))):
        advice = "Spreadsheets make dates of numbers with a dot; give the column a number format."
        return Fault(rule, f"a date where {due} is due. {advice} {_correct(column)}")
    if not is_text:
        return Fault(rule, f"{WHAT[value_class(cell)]} where {due} is due. {_correct(column)}")
    if MARKED_NUMBER.fullmatch(cell.strip(BLANKS)):
        return Fault(rule, f"no number that can be read: one decimal mark, none for thousands. {_correct(column)}")
    return Fault(rule, f"a text where {due} is due. {_correct(column)}")


def _whole(number: float | Taken | Fault, column: Column) -> int | Taken | Fault:
    if isinstance(number, Fault):
        return number
    if isinstance(number, Taken):
        whole = _whole(number.value, column)
        return whole if isinstance(whole, Fault) else Taken(whole, number.stood, number.taken_for, number.rule)
    if not number.is_integer() or abs(number) > LARGEST_EXACT:
        return Fault("value_is_a_whole_number", f"{plain(number)} is no whole number. {_correct(column)}")
    return int(number)


def _fill_in(column: Column) -> str:
    return "Enter unknown where it is not known." if "unknown" in column.levels else "Fill it in."


def _correct(column: Column) -> str:
    if "unknown" in column.levels:
        return "Correct the cell, or enter unknown."
    if column.required:
        return "Correct the cell; do not mark a missing value by a word or sign."
    return "Correct the cell, or leave it empty where there is no value."
