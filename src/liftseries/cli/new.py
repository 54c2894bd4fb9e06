"""`liftseries new`: a folder to start a study from."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.cli.arguments import add_command, plan_of


def add_new(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands, "new", help="make a folder to start a study from", example="new my_study --workbook"
    )
    command.add_argument("study", metavar="STUDY", type=Path, help="the folder to make; must be empty or not yet there")
    command.add_argument("--workbook", action="store_true", help="one workbook to type into, instead of a CSV a table")
    command.add_argument(
        "--columns-of", metavar="OTHER", help="take over extra_columns of another study's folder or study.yaml"
    )
    command.set_defaults(command=_new)


def _new(options: argparse.Namespace) -> int:
    from liftseries.forms.templates import new_study

    extra_columns = plan_of(options.columns_of).extra_columns if options.columns_of else None
    new_study(options.study, options.workbook, extra_columns)
    print(f"Made {options.study}. Next: fill in its tables, then liftseries check {options.study}")
    return 0
