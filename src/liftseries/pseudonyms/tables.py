"""A table of a centre's file: its columns by name, and how its places are told."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from liftseries.intake.files.grid import BLANKS, is_blank, letters
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.identifiers.kinds import Kind
from liftseries.intake.identifiers.search import kind_of_header
from liftseries.pseudonyms.codes import is_identifier, spelling
from liftseries.pseudonyms.told import Remark
from liftseries.study.reading import Reading
from liftseries.study.schema import Table

# Table -> what a column of dates may be called -> its name here.
NAMES_OF_DATES = {
    "patients": {name: "birth_date" for name in ("birth_date", "date_of_birth", "dob")},
    "sites": {name: name for name in ("surgery_date", "placement_date")},
    "visits": {"date": "visit_date", "visit_date": "visit_date"},
}


NAMED_HERE = frozenset({"age_on", "placed_on"}.union(*(names.values() for names in NAMES_OF_DATES.values())))


@dataclass(frozen=True)
class Options:
    """What the user says of columns and dates."""

    order: str | None = None  # how texts that are dates were typed
    keep: frozenset[str] = frozenset()
    drop: frozenset[str] = frozenset()
    replace: frozenset[str] = frozenset()
    centre: str = ""  # of patients whose table does not say it
    smallest_cell: int = 5  # patients that a kept text needs
    extra_columns: Mapping[str, Mapping[str, Mapping]] = field(default_factory=dict)  # as in study.yaml
    reading: Reading = field(default_factory=Reading)


@dataclass
class CentreTable:
    """One table of one file; its cells have their rows in the order of the file."""

    table: Table
    sheet: Sheet
    file: str  # `sites, file 2`: the file's own name may be somebody's
    group: str  # what the file's name has beside the table's, in small letters: what goes together
    named: dict[str, int] = field(default_factory=dict)  # name in small letters -> position
    dates: dict[str, list[datetime.date | None]] = field(default_factory=dict)
    unread: dict[str, set[int]] = field(default_factory=dict)  # column of dates -> rows whose date cannot be read
    codes: dict[str, list[str]] = field(
        default_factory=dict
    )  # column of identifiers -> its codes, "" where there is none

    def __len__(self) -> int:
        return len(self.sheet.rows)

    def cells(self, name: str) -> np.ndarray:
        """The raw cells of a column; empty ones where the file has none of that name."""
        if name not in self.named:
            return np.full(len(self), None, dtype=object)
        return self.sheet.columns[self.named[name]]

    def spelt(self, name: str) -> list[str]:
        """The identifiers of a column in one spelling; empty where a cell holds none."""
        return [spelling(cell) if is_identifier(cell) else "" for cell in self.cells(name)]

    def remark(self, message: str, name: str, at: int | None = None) -> Remark:
        """A remark on a cell of a column, or on the whole column."""
        shown = name if name in self.table.columns or name not in self.named else self.shown(name)
        if at is None:
            return Remark(self.file, message, shown)
        stands = self.stands(name, at) if self.sheet.is_workbook else None
        return Remark(self.file, message, shown, int(self.sheet.rows[at]), stands)

    def stands(self, name: str, at: int | None = None) -> int | None:
        """A column's number in the file, None where it has none of its own, as one that a file of reading gives."""
        position = self.named.get(name)
        if position is None or not self.sheet.origins:
            return position
        origin = self.sheet.origins.get(position)
        return (None if at is None else int(origin[at])) if isinstance(origin, np.ndarray) else origin

    def shown(self, name: str) -> str:
        """A column that is not the dictionary's by its place, since its name may itself be somebody's."""
        stands = self.stands(name)
        if name in NAMED_HERE or name in self.table.columns:
            return name
        return "a column" if stands is None else position_of(stands)

    def kind_of_name(self, name: str) -> Kind | None:
        """What the name of a column that is not known says of it."""
        return kind_of_header(str(self.sheet.header[self.named[name]]))


def position_of(position: int) -> str:
    """`column 24 (X)`."""
    return f"column {position + 1} ({letters(position)})"


def name_columns(file: CentreTable, problems: list[Remark], told: list[Remark]) -> None:
    """Finds each column's name; one that stands twice is a problem, one without a name is dropped."""
    aliases = NAMES_OF_DATES.get(file.table.name, {})
    for position, cell in enumerate(file.sheet.header):
        name = "" if is_blank(cell) else str(cell).strip(BLANKS).lower()
        joined = "_".join(name.split())
        name = aliases.get(joined, name)  # `Date of birth` as people write it
        if not name:
            if any(not is_blank(cell) for cell in file.sheet.columns[position]):
                message = "filled cells under no column name: dropped. Name the column if it belongs to the table."
                told.append(Remark(file.file, message, position_of(position)))
        elif name in file.named:
            what = (
                "more than one column of dates could give the same" if name in NAMED_HERE else "the name stands twice"
            )
            problems.append(Remark(file.file, f"{what}. Rename or remove one of the two.", position_of(position)))
        else:
            file.named[name] = position
