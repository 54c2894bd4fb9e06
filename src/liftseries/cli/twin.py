"""`liftseries twin`: a made-up copy of a study, to share."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.base.numbers import counted
from liftseries.cli.arguments import add_command, add_study, count, plan_of


def add_twin(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands, "twin", help="make a made-up copy of a study, to share", example="twin synthetic_data made_up"
    )
    add_study(command)
    command.add_argument(
        "folder", metavar="FOLDER", type=Path, help="the folder to make; must be empty or not yet there"
    )
    command.add_argument(
        "--seed", type=count, metavar="N", help="where random numbers start (default: the plan's seed)"
    )
    command.set_defaults(command=_twin)


def _twin(options: argparse.Namespace) -> int:
    from liftseries.twin.folder import NOTE_FILE, make_twin

    twin = make_twin(plan_of(options.study), options.folder, options.seed)
    made = " and ".join(counted(len(twin.tables[f"{name}s"]), name) for name in ("patient", "site"))
    again = f"{counted(twin.patients_redrawn, 'patient')} and {counted(twin.sites_redrawn, 'site')}"
    print(f"Drawn again for being too close to a real record: {again}. {NOTE_FILE} says what a made-up copy is not.")
    print(f"Made {options.folder}: {made}, none of them real. Next: liftseries run {options.folder}")
    return 0
