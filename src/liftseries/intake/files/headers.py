"""Header cells to columns: which column of a file is which of the schema's, and what is wrong there."""

from __future__ import annotations

from dataclasses import dataclass, field

from liftseries.base.errors import did_you_mean, nearest
from liftseries.intake.files.grid import BLANKS, is_blank
from liftseries.intake.files.sheet import Sheet
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.schema import Table


@dataclass(frozen=True)
class HeaderFault:
    rule: str
    place: str
    position: int
    column: str
    message: str


@dataclass
class Header:
    """Where each column of the schema stands in one file."""

    positions: dict[str, int]
    faults: list[HeaderFault] = field(default_factory=list)
    unreadable: set[str] = field(default_factory=set)  # missing though needed, or standing twice

    def can_be_read(self, column: str) -> bool:
        return column in self.positions and column not in self.unreadable


def match_header(sheet: Sheet, table: Table) -> Header:
    """Blanks around a name and its letter case do not matter.

    A missing column and an unknown one of nearly the same name are one fault, told at the unknown one; so are as
    many missing columns as have lost their names.
    """
    header, unknown, unnamed = Header({}), [], []
    for position, cell in enumerate(sheet.header):
        name = "" if is_blank(cell) else str(cell).strip(BLANKS).lower()
        place = sheet.header_place(position)
        if not name:
            if any(not is_blank(cell) for cell in sheet.columns[position]):
                unnamed.append((position, place))
        elif name in header.positions:
            message = f"{name} stands twice in the header. Rename or remove one of the two."
            header.faults.append(HeaderFault("column_stands_once", place, position, name, message))
            header.unreadable.add(name)
        elif name in table.columns:
            header.positions[name] = position
        else:
            unknown.append((position, place, name))
    missing = [name for name in table.columns if name not in header.positions]
    for position, place, name in unknown:
        meant = nearest(name, missing)
        header.unreadable.update(filter(None, [meant]))
        hint = did_you_mean(name, missing if meant else table.columns)
        stood = f"not a known column{hint.replace(' D', '; d')}" if hint else "not a known column."
        message = f"{stood} Correct it, or declare it under extra_columns in {PLAN_FILE}."
        if sheet.read_by:
            stood = (
                f"a column that {sheet.read_by} does not name{hint.replace(' D', '; d')}"
                if hint
                else (f"a column that {sheet.read_by} does not name.")
            )
            message = f"{stood} Name it there, under `columns` or `ignore`."
        header.faults.append(HeaderFault("column_is_known", place, position, "", message))
    told = {*header.unreadable, *sheet.not_collected}
    missed = [name for name in missing if not (table.columns[name].may_be_absent or name in told)]
    lost_their_names = len(missed) <= len(unnamed)
    hint = f" Is it {' or '.join(missed)}?" if missed and lost_their_names else ""
    for position, place in unnamed:
        message = f"filled cells under no column name.{hint} Name the column or clear it."
        header.faults.append(HeaderFault("column_has_a_name", place, position, "", message))
    if not lost_their_names:
        for name in missed:
            message = f"a column is missing: {name}. Add it, or give the column that holds it this name."
            place = sheet.row_place(sheet.header_row)
            header.faults.append(HeaderFault("column_is_there", place, len(sheet.header), name, message))
    # A column without a name may also be one that only some rows need.
    header.unreadable.update(missing if len(unnamed) > len(missed) else missed)
    header.unreadable.update(name for name in sheet.not_collected if name not in header.positions)
    return header
