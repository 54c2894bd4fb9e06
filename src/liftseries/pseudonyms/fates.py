"""The fate of each column of a centre's file: what is written of it, under which name, and what was done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from liftseries.intake.files.grid import is_blank
from liftseries.pseudonyms.days import DATE_COLUMNS, DONE, Days, undated
from liftseries.pseudonyms.labels import LABELS, Kept, coded, kept_of_free_text, units
from liftseries.pseudonyms.tables import CentreTable, Options
from liftseries.pseudonyms.told import Remark
from liftseries.pseudonyms.whitelist import allowed
from liftseries.study.reading import Reading

CODED, KEPT, AS_ASKED = "replaced by pseudonyms", "kept, texts of enough patients", "dropped, as asked"
DECLARE = (
    "not a column of the dictionary: dropped. Declare it under extra_columns of the study.yaml that --study names, or "
    "look at all of it and keep its common texts with --keep."
)
FREE = "free text: dropped. Look at all of it and keep its common texts with --keep, if it is needed."


@dataclass
class Fates:
    """What the fate of a column hangs on, whatever its file."""

    key: bytes
    options: Options
    kept: Kept
    days: Days
    units: Mapping[str, set[str]]
    told: list[Remark]


@dataclass(frozen=True)
class Fate:
    name: str  # under which it is written, or its place where it is dropped and may be named after somebody
    done: str
    filled: int  # cells that held something
    values: list[object] | None = None  # None where the column goes


def fate_of(file: CentreTable, name: str, fates: Fates) -> Fate:
    """What becomes of a column; what is left blank or dropped is told."""
    filled = sum(not is_blank(cell) for cell in file.cells(name))
    column, options = file.table.columns.get(name), fates.options
    dropped = name if column else file.shown(name)
    if name in options.drop:
        return Fate(dropped, AS_ASKED, filled)
    if name in file.codes:
        return Fate(name, CODED, filled, [code or None for code in file.codes[name]])
    if name in file.dates:
        into = DATE_COLUMNS[file.table.name][name]
        return _undated(file, name, into, filled, fates) if into else Fate(dropped, DONE[into], filled)
    if column is not None and name in file.table.of_units:
        return Fate(name, CODED, filled, units(file, name, fates.units, fates.told))
    if column is not None and column.type != "text":
        return _whitelisted(file, name, filled, fates)
    if column is not None and not column.own and name in LABELS:
        return Fate(name, CODED, filled, coded(file, name, LABELS[name], fates.key, fates.kept, fates.told))
    if name in options.replace:
        return Fate(name, CODED, filled, coded(file, name, name, fates.key, fates.kept, fates.told))
    if name in options.keep:
        return Fate(name, KEPT, filled, kept_of_free_text(file, name, fates.kept))
    kind = None if column else file.kind_of_name(name)
    why = f"dropped: {kind.words}" if kind else "dropped: free text" if column else "dropped: not a known column"
    if filled:
        message = f"the name of the column says that it holds {kind.words}: dropped." if kind else DECLARE
        fates.told.append(file.remark(FREE if column else message, name))
    return Fate(dropped, why, filled)


def _undated(file: CentreTable, name: str, into: str, filled: int, fates: Fates) -> Fate:
    """What is counted from dates is written as far as it may be, as if it stood in the file."""
    counted = np.array(undated(file, name, fates.days, fates.told), dtype=object)
    made = allowed(counted, file.table.columns[into], Reading())
    fates.told += [file.remark(why, name, at) for at, why in made.blanked.items()]
    return Fate(into, DONE[into], filled, made.values)


def _whitelisted(file: CentreTable, name: str, filled: int, fates: Fates) -> Fate:
    column = file.table.columns[name]
    made = allowed(file.cells(name), column, fates.options.reading)
    fates.told += [file.remark(why, name, at) for at, why in made.blanked.items()]
    done = "written as far as it may be" if made.blanked else "written"
    if made.n_rounded:
        done += ", to a tenth of a month" if column.unit == "months" else ", to two decimals or 90 years"
    return Fate(name, done, filled, made.values)
