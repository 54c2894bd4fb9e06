"""`liftseries run`: check, recompute, model and report."""

from __future__ import annotations

import argparse
import os
import sys
import time

from liftseries.base.errors import OUR_FAULT
from liftseries.cli.arguments import add_command, add_study, count, plan_of
from liftseries.study.plan import Plan

UNCHANGED = "Nothing has changed since the last run."


def add_run(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(commands, "run", help="check, recompute, model and report", example="run synthetic_data")
    add_study(command)
    command.add_argument("--cores", type=count, help="jobs side by side (default: all)")
    command.add_argument(
        "--profile", default="", metavar="X",
        help="where jobs run: slurm, or the folder of a profile of Snakemake (default: here)",
    )  # fmt: skip
    command.add_argument("--force", action="store_true", help="do everything again, changed or not")
    command.add_argument(
        "--centre", default="", metavar="X",
        help="the report of this centre's patients alone, in output/centres/X; an audit is left out, it compares units",
    )  # fmt: skip
    command.set_defaults(command=_run)


def _run(options: argparse.Namespace) -> int:
    from liftseries.engine.run import has_nothing_to_do, what_to_look_at
    from liftseries.study.plan_files import folders_of

    if options.centre:
        return _run_centre(options)
    started = time.monotonic()
    study, output = folders_of(options.study)
    if not options.force and output and has_nothing_to_do(study, output):
        print(UNCHANGED)
        print("\n".join(what_to_look_at(output)))
        return 0
    return _brought_up_to_date(plan_of(options.study), options, started)


def _run_centre(options: argparse.Namespace) -> int:
    """Nobody else may be at work in the study's whole output folder, in which the centre's lies."""
    from liftseries.engine.run import alone_in
    from liftseries.intake.one_centre import known_centre
    from liftseries.intake.study import read_study
    from liftseries.study.plan_files import CENTRE

    started, whole = time.monotonic(), plan_of(options.study)
    os.environ[CENTRE] = known_centre(read_study(whole).tables["patients"]["centre"], options.centre)
    whole.output.mkdir(parents=True, exist_ok=True)
    with alone_in(whole.output):
        return _brought_up_to_date(plan_of(options.study), options, started)


def _brought_up_to_date(plan: Plan, options: argparse.Namespace, started: float) -> int:
    from liftseries.engine.profiles import profile_folder
    from liftseries.engine.run import RunFailed, run, took, what_to_look_at

    profile = profile_folder(options.profile) if options.profile else None
    cores = options.cores or (None if profile else os.cpu_count() or 1)
    try:
        changed = run(plan, cores, options.force, not options.quiet, profile)
    except RunFailed as error:
        print(error, file=sys.stderr)
        print(OUR_FAULT, file=sys.stderr)
        return 3
    print(f"Done in {took(started)}." if changed else UNCHANGED)
    print("\n".join(what_to_look_at(plan.output)))
    return 0
