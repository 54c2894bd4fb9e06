"""`liftseries changes`: what changed since the run before: rows by table and column, and how each headline moved."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from liftseries.base.errors import UsageError
from liftseries.base.numbers import counted
from liftseries.base.plain_text import UNSEEN
from liftseries.cli.arguments import add_command, add_study, plan_of

MOST_MOVED = 10  # headlines that are printed
MOST_COLUMNS = 6

if TYPE_CHECKING:
    import pandas as pd

    from liftseries.engine.changes import Changes


def add_changes(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "changes",
        help="what changed since the run before: rows by table and column, and the headlines",
        example="changes synthetic_data",
    )
    add_study(command)
    command.add_argument(
        "--list", type=Path, metavar="FILE.csv",
        help="write each new or gone row and each changed cell, by key and without its value, and each headline "
        "that moved",
    )  # fmt: skip
    command.set_defaults(command=_changes)


def _changes(options: argparse.Namespace) -> int:
    from liftseries.base.outputs import write_csv
    from liftseries.engine.changes import changes_of
    from liftseries.engine.run import alone_in

    if options.list and options.list.suffix != ".csv":
        raise UsageError(f"--list {options.list}: name a file that ends in .csv.")
    plan = plan_of(options.study)
    output = plan.output
    if options.list and options.list.resolve() in {path.resolve() for path in plan.files()}:
        raise UsageError(f"--list {options.list}: it is one of the study's own files. Name another.")
    if options.list and options.list.resolve().is_relative_to(output.resolve()):
        raise UsageError(f"--list {options.list}: the output folder is for what a run makes. Name a file elsewhere.")
    if not output.is_dir():
        raise UsageError(f"{options.study} was never run. Begin with `liftseries run {options.study}`.")
    with alone_in(output):
        changes = changes_of(output)
    if changes is None:
        print("No run before the last one was kept: it is when a run replaces one of other files or another plan.")
        print(f"Next: change a file or the plan, then liftseries run {options.study}")
        return 0
    print("\n".join(UNSEEN.sub("?", line) for line in told(changes)))
    if options.list:
        write_csv(options.list, changes.cells)
        print(f"Made {options.list}: {counted(len(changes.cells), 'line')}; it holds keys, keep it in the house.")
    else:
        print(f"Next: liftseries changes {options.study} --list FILE.csv lists each row, cell and headline.")
    return 0


def told(changes: Changes) -> Iterator[str]:
    """At most a screen: counts by table and column, the headlines that moved most. No value of a cell."""
    from liftseries.intake.identifiers.file_names import kind_of_file_name

    if changes.inputs:
        safe = dict.fromkeys(
            "one whose name may be somebody's" if kind_of_file_name(name) else name for name in changes.inputs
        )
        yield f"Files that differ: {', '.join(safe)}."
    if changes.plan:
        yield f"Keys of study.yaml that differ: {', '.join(changes.plan)}."
    if changes.versions:
        yield f"Versions that differ: {', '.join(map(_version, changes.versions.items()))}."
    cells = changes.cells
    for row in changes.rows.iloc[:-1].itertuples():
        if not row.new + row.gone + row.changed:
            yield f"{row.table}: as before"
            continue
        here = cells[(cells["table"] == row.table) & (cells["change"] == "changed")]
        columns = here["column"].value_counts(sort=False).sort_values(ascending=False, kind="stable")
        named = [f"{name} {n}" for name, n in columns.head(MOST_COLUMNS).items()]
        named += [f"{counted(len(columns) - MOST_COLUMNS, 'other column')}"] if len(columns) > MOST_COLUMNS else []
        by_column = f" ({', '.join(named)})" if named else ""
        yield f"{row.table}: {counted(row.new, 'row')} new, {row.gone} gone, {row.changed} changed{by_column}"
    yield from _headlines(changes.headlines)


def _headlines(headlines: pd.DataFrame) -> Iterator[str]:
    n = headlines["change"].value_counts()
    counts = ", ".join(f"{n.get(change, 0)} {change}" for change in ("moved", "new", "gone", "as before"))
    yield f"Headlines of results.csv: {counts}."
    moved = headlines[(headlines["change"] == "moved") & (headlines["subset"] == "all")]
    if len(moved):
        yield "Of all sites, those that moved most, counted in their standard errors before:"
    for row in moved.sort_values("by", ascending=False, kind="stable").head(MOST_MOVED).to_dict("records"):
        sides = [_estimate(*(row[f"{side}_{name}"] for name in ("estimate", "conf_low", "conf_high")))
                 for side in ("before", "after")]  # fmt: skip
        yield f"  {row['analysis']}, {row['term']}, {row['method']}: {sides[0]} before, {sides[1]} now"


def _version(differing: tuple[str, tuple[str, str]]) -> str:
    """A library, and the files that it may have changed without another number in them."""
    from liftseries.engine.provenance import ALL, MAY_CHANGE

    name, (before, after) = differing
    kinds = MAY_CHANGE.get(name, ALL)
    rest = "no file" if not kinds else "any file" if len(kinds) >= len(ALL) else " ".join(kinds)
    return f"{name} {before}, now {after} ({rest} may differ by it)"


def _estimate(estimate: float, low: float, high: float) -> str:
    return f"{estimate:.4g}" + (f" ({low:.4g} to {high:.4g})" if low == low and high == high else "")
