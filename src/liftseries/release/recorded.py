"""What a release tells, count by count, and whether it may be told after what was told before."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.release.before import COLUMNS, FOLDER, RECORD
from liftseries.release.check import shown_values
from liftseries.release.masking import Masked
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
        told = pd.read_csv(path, dtype=str, keep_default_na=False).reindex(columns=list(COLUMNS), fill_value="")
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError):
        message = "is not as release left it. Put it back, or release with --first if that bundle never left the house."
        raise StudyError([Problem(str(path), message)]) from None
    smallest_cell = pd.to_numeric(told["smallest_cell"], errors="coerce")
    return told.assign(smallest_cell=smallest_cell, rows=told["rows"].eq("True"))


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
    if back is not None and not back.astype(str).equals(told[list(COLUMNS)].astype(str).reset_index(drop=True)):
        message = (
            f"says other counts than this run gives, so that what was told cannot be read back from it. Put the folder "
            f"{FOLDER}/ back, or release with --first if that bundle never left the house."
        )
        raise StudyError([Problem(str(plan.folder / "release" / RECORD), message)])


def told_counts(masked: Masked, smallest_cell: int, run: str, with_rows: bool) -> tuple[pd.DataFrame, dict]:
    """Each count that is told, its set by a symbol; and the set of each symbol, shape (n_sites,)."""
    shown, entries = shown_values(masked), masked.ledger.entries
    names = sorted(shown, key=lambda name: int(name.rpartition(" ")[2]))
    rows = [(f"s{k}", entries[name].unit, *_written(shown[name])) for k, name in enumerate(names)]
    told = pd.DataFrame(rows, columns=["set", "unit", "form", "value"])
    told = told.assign(smallest_cell=smallest_cell, rows=with_rows, run=run)
    return told, {f"s{k}": np.asarray(entries[name].members) for k, name in enumerate(names)}


def _written(value: int | tuple[int, int]) -> tuple[str, str]:
    return ("few", f"<{value[1] + 1}") if isinstance(value, tuple) else ("exact", str(value))
