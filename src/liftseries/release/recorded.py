"""What a release tells, count by count, and whether it may be told after what was told before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.disclosure.parts import NEAR, Together
from liftseries.release.before import (
    COLUMNS,
    EXACT,
    FEW,
    FOLDER,
    IN_TABLES,
    OF_ROUNDED,
    RANGES,
    RECORD,
    ROUNDED,
    WITHHELD,
    House,
)
from liftseries.release.by_month import estimate_of
from liftseries.release.changed import row_key, sets_behind
from liftseries.release.check import all_told_roundly, known_of, shown_values
from liftseries.release.digits import Grid
from liftseries.release.ledger import Place
from liftseries.release.masking import Masked, tables_of
from liftseries.study.plan import Plan


def check_record(
    plan: Plan, told: pd.DataFrame, run: str, with_rows: bool, *, first: bool = False, lower_cell: bool = False
) -> None:
    """A second variant of one run, a lower k, or a bundle whose record is lost would tell more than it seems to.

    Parameters
    ----------
    plan
    told : what all releases told; where that record is lost, what the bundle says of itself is read back
    run : the hash of the run's manifest
    with_rows : the variant
    first : nothing has left the house yet
    lower_cell : whether k may be lower than before

    Raises
    ------
    StudyError
        Any of these.
    """
    problem, back = "", told_in_bundle(plan.folder) if told.empty and not first else None
    if back is not None and set(back["run"]) - {run}:
        problem = (
            f"was released before, and the folder {FOLDER}/ that says what was told is lost. Put it back; or run the "
            f"study as it was then and release it once more, as release/{RECORD} is read back then; or release with "
            "--first if that bundle never left the house."
        )
    told = told if back is None else back
    same = told[told["run"].eq(run)]
    if len(same) and same["rows"].astype(bool).ne(with_rows).any():
        problem = "was released in the other variant (with or without --rows); the two together tell more than each."
    if len(told) and not lower_cell and plan.smallest_cell < told["smallest_cell"].max():
        problem = (
            f"was released with sharing.smallest_cell {int(told['smallest_cell'].max())}; a lower one would tell what "
            "was hidden then. Keep it, raise it, or release with --lower-cell if that is decided."
        )
    if problem:
        raise StudyError([Problem(str(plan.folder), problem)])


def told_in_bundle(folder: Path) -> pd.DataFrame | None:
    """What the bundle that lies in a study's folder says it tells; None where there is none."""
    path = folder / "release" / RECORD
    if not path.is_file():
        return None
    try:
        told = pd.read_csv(path, dtype=str, keep_default_na=False)
        columns = [column for column in COLUMNS if column in told or column not in OF_ROUNDED]
        told = told.reindex(columns=columns, fill_value="")
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError):
        message = "is not as release left it. Put it back, or release with --first if that bundle never left the house."
        raise StudyError([Problem(str(path), message)]) from None
    smallest_cell = pd.to_numeric(told["smallest_cell"], errors="coerce")
    return told.assign(smallest_cell=smallest_cell, rows=told["rows"].eq("true"))


def check_read_back(plan: Plan, told: pd.DataFrame) -> None:
    """A record that is made again must be that of the bundle: else what that told is not known.

    Parameters
    ----------
    plan
    told : of the release about to be recorded

    Raises
    ------
    StudyError
        The bundle tells other counts.
    """
    back = told_in_bundle(plan.folder)
    if back is None:
        return
    if not set(OF_ROUNDED) <= set(back):  # of a time when numbers told roundly were not recorded
        told = told[told["form"].ne(ROUNDED)]
    if not back.astype(str).equals(told[list(back)].astype(str).reset_index(drop=True)):
        message = (
            f"says other counts than this run gives, so that what was told cannot be read back from it. Put the folder "
            f"{FOLDER}/ back, or release with --first if that bundle never left the house."
        )
        raise StudyError([Problem(str(plan.folder / "release" / RECORD), message)])


def told_counts(masked: Masked, smallest_cell: int, run: str, with_rows: bool) -> tuple[pd.DataFrame, House]:
    """Each count that is told, its set by a symbol, then each number told roundly; and whom they tell of."""
    shown, entries = shown_values(masked), masked.ledger.entries
    names = sorted(shown, key=lambda name: int(name.rpartition(" ")[2]))
    rows = [(f"s{k}", "", entries[name].unit, *_written(shown[name]), "", "") for k, name in enumerate(names)]
    symbols = _Symbols({f"s{k}": np.asarray(entries[name].members) for k, name in enumerate(names)})
    symbol_of = {}
    for k, ((name, at), number, grid) in enumerate(_told_roundly(masked)):
        unit, key = masked.behind[name][at].gives_away[-1].unit, row_key(name, masked.whole.table(name), at)
        rows.append((f"r{k}", key, unit, ROUNDED, str(number), str(float(grid.unit)), str(float(grid.first))))
        symbol_of[name, at] = f"r{k}"
    told = pd.DataFrame(rows, columns=["set", "row", "unit", "form", "value", "step", "first"])
    told = told.assign(smallest_cell=smallest_cell, rows=with_rows, run=run)
    ranges = []
    for (name, at), symbol in symbol_of.items():
        ranges += [{"row": symbol, "set": symbols.of(one)} for one in sets_behind(masked.behind[name][at])]
    for k, (row, one) in enumerate(_ranges(masked, symbol_of, smallest_cell)):
        limits = {"row": row, "range": k, "lowest": one.lowest, "highest": one.highest}
        for name, times in one.of.items():
            entry = entries[name]
            ranges.append({**limits, "set": symbols.of(entry.members), "unit": entry.unit, "times": times})
    seen_in = [
        (symbols.of(entry.members), entry.unit, table)
        for name, entry in entries.items()
        for table in sorted(masked.ledger.seen_in[name])
    ]
    table = pd.DataFrame(ranges, columns=list(RANGES)).astype({"range": "Int64"})
    return told, House(symbols.sets, table, pd.DataFrame(seen_in, columns=list(IN_TABLES)))


class _Symbols:
    """The symbols of sets: of counts that are told, and of further ones, which the house alone knows."""

    def __init__(self, sets: dict[str, np.ndarray]):
        self.sets = sets
        self._symbol = {members.tobytes(): symbol for symbol, members in sets.items()}

    def of(self, members: np.ndarray) -> str:
        """The symbol of a set; a new one where it has none yet."""
        members = np.asarray(members, bool)
        symbol = self._symbol.setdefault(members.tobytes(), f"{WITHHELD}{len(self._symbol)}")
        self.sets.setdefault(symbol, members)
        return symbol


def _told_roundly(masked: Masked) -> Iterator[tuple[Place, float, Grid]]:
    """The rows that are told roundly, in their order: the number, and its grid."""
    tables = tables_of(masked.material)
    for (name, at), grid in sorted(masked.ledger.coarse.items(), key=lambda row: row[0]):
        number = tables[name][estimate_of(tables[name])].iloc[at]
        if pd.notna(number):
            yield (name, at), float(number), grid


def _ranges(
    masked: Masked, symbol_of: Mapping[Place, str], smallest_cell: int
) -> Iterator[tuple[str | None, Together]]:
    """Limits of one count that is told as few, or as none of these; then what numbers told roundly tell of counts.

    Each of these stands beside the first row that tells it, by its symbol. What is not true of the series tells
    nothing: what design effects tell holds of most series, not of all.
    """
    entries, known = masked.ledger.entries, known_of(masked, smallest_cell)
    for name, of_count in known.names.items():
        limits = known.values[of_count]
        if name in entries and isinstance(limits, tuple):
            yield None, Together({name: 1.0}, *map(float, limits))
    for places, told in all_told_roundly(masked, smallest_cell):
        for one in told:
            n = sum(times * entries[name].value for name, times in one.of.items())
            if one.of and one.lowest - NEAR <= n <= one.highest + NEAR:
                yield symbol_of[places[0]], one


def _written(value: int | tuple[int, int]) -> tuple[str, str]:
    return (FEW, f"<{value[1] + 1}") if isinstance(value, tuple) else (EXACT, str(value))
