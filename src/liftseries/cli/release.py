"""`liftseries release`: what of a finished run may leave the house."""

from __future__ import annotations

import argparse

from liftseries.base.numbers import counted
from liftseries.cli.arguments import add_command, add_study, plan_of


def add_release(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "release",
        help="make release/: what of a finished run may leave the house",
        example="release synthetic_data",
    )
    add_study(command)
    command.add_argument(
        "--rows", action="store_true", help="coarsened rows of patients too; more counts of the report are withheld"
    )
    command.add_argument(
        "--first", action="store_true", help="no bundle has left the house: released/ is lost, and nothing was told"
    )
    command.add_argument(
        "--lower-cell", action="store_true", help="a lower smallest_cell than an earlier release had, attacked with it"
    )
    command.set_defaults(command=_release)


def _release(options: argparse.Namespace) -> int:
    from liftseries.release.bundle import release

    released = release(plan_of(options.study), options.rows, first=options.first, lower_cell=options.lower_cell)
    if options.rows and not released.with_rows:
        print("No rows are in it: they are too few, or counts of few patients could be worked out with them.")
    if released.n_out:
        what = counted(released.n_out, "count of few patients", "counts of few patients")
        how = "had been told or given away by earlier releases, with a lower smallest_cell, and cannot be taken back"
        print(f"{what} {how}; seen in: {'; '.join(released.out_in)}.")
    print(f"{released.n_withheld} of {counted(released.n_counts, 'count')} withheld; its report says why.")
    print(f"Made {released.folder}. Next: read its report.html before it leaves the house.")
    return 0
