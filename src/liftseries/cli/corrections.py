"""`liftseries corrections`: what became of each line of corrections.csv, and lines taken back; questions on the way."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from liftseries.base.numbers import counted
from liftseries.cli.arguments import add_command, add_study, count, plan_of
from liftseries.study.plan_files import CORRECTIONS_FILE

if TYPE_CHECKING:
    import pandas as pd

    from liftseries.study.plan import Plan


def add_corrections(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "corrections",
        help="list the lines of corrections.csv and what became of them, or take some back",
        example="corrections synthetic_data",
    )
    add_study(command)
    command.add_argument(
        "--withdraw", type=count, nargs="+", metavar="LINE",
        help="numbers of lines to take back; they stay in the file, a new line says so",
    )  # fmt: skip
    command.add_argument("--person", default="", help="who takes them back: a pseudonym")
    command.add_argument("--reason", default="", help="why")
    command.set_defaults(command=_corrections)


def _corrections(options: argparse.Namespace) -> int:
    from liftseries.intake.books.trail import withdraw
    from liftseries.intake.corrections.lines import FITS
    from liftseries.intake.study import check_study

    plan = plan_of(options.study)
    for line in convert_older(plan):
        print(line)
    if options.withdraw:
        n = withdraw(plan, options.withdraw, options.person, options.reason)
        print(f"{counted(n, 'line')} of {CORRECTIONS_FILE} taken back, by new lines.")
    intake, _ = check_study(plan)
    for line in intake.corrections.itertuples():
        where = f"{line.table}, {line.column or 'whole row'}"
        print(f"line {line.line}: {where}: {line.state or 'takes another line back'}")
    for told in state_lines(intake.corrections):
        print(told)
    faults = intake.findings[intake.findings["rule"] == FITS]
    for fault in faults.itertuples():
        print(f"{fault.place}: {fault.message}")
    if intake.corrections.empty and faults.empty:
        print(f"{plan.folder.name} has no corrections.")
    print(f"Next: liftseries check {options.study}")
    return int(len(faults) > 0)


def state_lines(lines: pd.DataFrame) -> list[str]:
    """How many lines have each state; nothing where there are none."""
    states = lines.loc[lines["state"] != "", "state"].value_counts(sort=False)
    if not len(states):
        return []
    told = ", ".join(f"{n} {state}" for state, n in states.items())
    return [f"{counted(int(states.sum()), 'line')} of {CORRECTIONS_FILE}: {told}."]


def convert_older(plan: Plan) -> list[str]:
    """Gives lines by row number the rows' keys; says how many, and which could not be found again."""
    from liftseries.intake.books.trail import convert_older_lines

    converted = convert_older_lines(plan)
    if converted is None:
        return []
    return [
        f"{counted(converted.n, 'line')} of {CORRECTIONS_FILE} by row number now by key; the older file is beside it.",
        *(
            f"{CORRECTIONS_FILE}: {name}: has changed since it was corrected; the line is kept, not applied."
            for name in converted.lost
        ),
    ]


def consent_asked(told: list[tuple[str, str]]) -> bool:
    """Lists what depends on rows left out and asks on a terminal; False where nobody can answer."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    for place, what in told:
        print(f"{place}: {what}")
    return input("Leave them out too? [y/N] ").strip().lower() in ("y", "yes")
