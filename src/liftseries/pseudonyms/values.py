"""The values of the new tables: dates turned into times between, identifiers into pseudonyms, the rest kept."""

from __future__ import annotations

import datetime
from collections.abc import Collection

import numpy as np

from liftseries.base.errors import Problem
from liftseries.base.numbers import plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import DATES, Oddity, is_blank
from liftseries.intake.identifiers.kinds import Role
from liftseries.intake.identifiers.screen import role_of, screen_column
from liftseries.pseudonyms.codes import pseudonym, spelling
from liftseries.pseudonyms.dates import completed_years, months_between
from liftseries.pseudonyms.tables import DATE_COLUMNS, CentreTable, is_identifier, position_of
from liftseries.study.schema import read_schema

KINDS = {"patient_id": "patient", "site_id": "site", "operator": "operator"}


# ── dates ─────────────────────────────────────────────────────────────────────────────────────────────────────


Days = dict[str, datetime.date]


def days_of_sites(files: Collection[CentreTable]) -> tuple[Days, Days, Days]:
    """By site the day of surgery and of placement, by patient the day of the first surgery."""
    surgery: Days = {}
    placed: Days = {}
    first: Days = {}
    for file in files:
        if file.table == "sites":
            none = [None] * len(file.sheet.rows)
            operated, placement = file.dates.get("surgery_date", none), file.dates.get("placement_date", none)
            for site, patient, on, then in zip(
                file.spelt("site_id"), file.spelt("patient_id"), operated, placement, strict=True
            ):
                if on:
                    surgery[site] = on
                    first[patient] = min(on, first.get(patient, on))
                # A site without a placement date in a file that has them was not given an implant that day.
                if since := then if "placement_date" in file.dates else on:
                    placed[site] = since
    for days in (surgery, placed, first):
        days.pop("", None)  # a row without an identifier dates nobody
    return surgery, placed, first


def undated(
    file: CentreTable, name: str, surgery: Days, placed: Days, first: Days, problems: list[Problem]
) -> tuple[str, list[object] | None, str]:
    """The name of the new column, its values, and what was done."""
    into, dates = DATE_COLUMNS[file.table][name], file.dates[name]
    match into:
        case "":
            return position_of(file.named[name]), None, "dropped: months are counted from these dates"
        case "surgery_year":
            return into, [date and date.year for date in dates], "dates turned into years"
        case "months":
            owners, since, lacks = file.spelt("site_id"), placed, "its site has no placement or surgery date"
            done = "dates turned into months since placement"
        case _:
            owners, since, lacks = file.spelt("patient_id"), first, "the patient has no site with a surgery date"
            done = "dates turned into age at the first surgery"
    values: list[object] = []
    for at, (date, owner) in enumerate(zip(dates, owners, strict=True)):
        start, value = since.get(owner), None
        if date and start is None:
            problems.append(Problem(file.where(at, name), f"{lacks}. Add it, or mend the identifier."))
        elif date:
            value = months_between(start, date) if into == "months" else completed_years(date, start)
            if value < 0:
                wrong = "before the placement" if into == "months" else "after the surgery"
                problems.append(Problem(file.where(at, name), f"a day {wrong}. Correct one of the two dates."))
        values.append(value)
    return into, values, done


# ── identifiers and the rest ──────────────────────────────────────────────────────────────────────────────────


def replaced(
    file: CentreTable, name: str, key: bytes, codes: dict[str, tuple[str, str]], problems: list[Problem]
) -> list[object]:
    """Pseudonyms in place of a column's identifiers; `codes` remembers what each of them stands for."""
    kind, values = KINDS.get(name, name), []
    for at, cell in enumerate(file.sheet.columns[file.named[name]]):
        if not is_identifier(cell):
            if not is_blank(cell):
                message = "neither a text nor a number. Enter the identifier as a text."
                problems.append(Problem(file.where(at, name), message))
            values.append(None)
            continue
        code, meant = pseudonym(key, kind, cell), (kind, spelling(cell))
        if codes.setdefault(code, meant) != meant:
            message = "two identifiers came to one pseudonym, by chance. Use another key."
            problems.append(Problem(file.where(at, name), message))
        values.append(code)
    return values


def kept(file: CentreTable, name: str, problems: list[Problem]) -> list[object]:
    """The cells as CSV shows them; an identifier or date among them is a problem, its value never told."""
    table = read_schema()[file.table]
    column, cells = table.columns.get(name), file.sheet.columns[file.named[name]]
    role = role_of(table, name if column else "")
    do = f"Mend it, leave the column out with --drop {name}, or replace its texts with --replace {name}."
    for at, cell in enumerate(cells):
        if isinstance(cell, (Oddity, *DATES)):
            stood = "an error or formula without a value" if isinstance(cell, Oddity) else "a date"
            problems.append(Problem(file.where(at, name), f"{stood}, which cannot be kept. {do}"))
        elif name == "surgery_year" and not is_blank(cell) and not 1900 <= (number_in(cell) or 0) < 2100:
            problems.append(Problem(file.where(at, name), f"no year. Write the year alone. {do}"))
    # Also a date where a number or level is due, which check refuses, must not lie in the new folder.
    texts = np.array(
        [cell if isinstance(cell, str) and number_in(cell) is None else None for cell in cells], dtype=object
    )
    found = {}
    for kinds in (screen_column(cells, role), screen_column(texts, Role.LABEL)):
        found |= {int(at): kind for kind, rows in kinds.items() for at in rows}
    for at, kind in sorted(found.items()):
        problems.append(Problem(file.where(at, name), f"looks like {kind.words}. {do}"))
    is_level = column is not None and column.type == "category"
    words = {True: "yes", False: "no"} if is_level else {True: "true", False: "false"}
    return [_as_csv(cell, words) for cell in cells]


def _as_csv(cell: object, words: dict[bool, str]) -> object:
    if isinstance(cell, bool):
        return words[cell]
    if isinstance(cell, int):
        return str(cell)
    return plain(cell) if isinstance(cell, float) else cell
