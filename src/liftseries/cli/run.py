"""`liftseries run`: check, recompute, model and report."""

from __future__ import annotations

import argparse
import os
import sys
import time

from liftseries.base.errors import OUR_FAULT
from liftseries.cli.arguments import add_command, add_study, count, plan_of

UNCHANGED = "Nothing has changed since the last run."


def add_run(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(commands, "run", help="check, recompute, model and report", example="run synthetic_data")
    add_study(command)
    command.add_argument("--cores", type=count, default=os.cpu_count() or 1, help="jobs side by side (default: all)")
    command.add_argument("--force", action="store_true", help="do everything again, changed or not")
    command.set_defaults(command=_run)


def _run(options: argparse.Namespace) -> int:
    from liftseries.engine.run import RunFailed, has_nothing_to_do, run, took, what_to_look_at
    from liftseries.study.plan_files import folders_of

    started = time.monotonic()
    study, output = folders_of(options.study)
    if not options.force and output and has_nothing_to_do(study, output):
        print(UNCHANGED)
        print("\n".join(what_to_look_at(output)))
        return 0
    plan = plan_of(options.study)
    try:
        changed = run(plan, options.cores, options.force, not options.quiet)
    except RunFailed as error:
        print(error, file=sys.stderr)
        print(OUR_FAULT, file=sys.stderr)
        return 3
    print(f"Done in {took(started)}." if changed else UNCHANGED)
    print("\n".join(what_to_look_at(plan.output)))
    return 0
