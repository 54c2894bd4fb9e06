"""The command line: the commands, in the order of its help, and what becomes of their errors.

Exit status: 0 done, 1 the study has problems, 2 the command was used wrongly, 3 a fault of liftseries itself, 4 a fault
of the machine, such as a full disk. What was interrupted ends with 128 and the number of its signal.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys

from liftseries import __version__
from liftseries.base.errors import OUR_FAULT, StudyError, Terminated, UsageError, fault, machine_fault
from liftseries.base.progress import now, telling_steps
from liftseries.cli.arguments import CAUTION
from liftseries.cli.case import add_case
from liftseries.cli.changes import add_changes
from liftseries.cli.check import add_check
from liftseries.cli.corrections import add_corrections
from liftseries.cli.ladder import add_ladder
from liftseries.cli.map import add_map
from liftseries.cli.new import add_new
from liftseries.cli.pseudonymise import add_pseudonymise
from liftseries.cli.release import add_release
from liftseries.cli.run import add_run
from liftseries.cli.size import add_size
from liftseries.cli.streams import pipes_may_close
from liftseries.cli.twin import add_twin
from liftseries.study.plan_files import CENTRE, READ_FROM, TRUST


def main(arguments: list[str] | None = None) -> int:
    """Runs one command; see `liftseries --help`."""
    options = _parser().parse_args(arguments)
    os.environ[READ_FROM] = os.pathsep.join(map(str, getattr(options, "read_from", ())))  # for every job of a run
    os.environ[CENTRE] = ""  # `run --centre` sets it, having found the centre
    os.environ[TRUST] = "yes" if getattr(options, "trust", False) else ""
    with pipes_may_close(), telling_steps(options.quiet):
        return _done(options)


def _done(options: argparse.Namespace) -> int:
    try:
        return options.command(options)
    except StudyError as error:
        print(error, file=sys.stderr)
        return 1
    except UsageError as error:
        print(f"liftseries: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt as error:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Snakemake hands a key's signal on to us once more
        print("Interrupted. Run the same command again to go on.", file=sys.stderr)
        return 128 + (signal.SIGTERM if isinstance(error, Terminated) else signal.SIGINT)
    except Exception as error:
        if told := machine_fault(error):
            print(f"{now()}: {told}" if now() else told, file=sys.stderr)
            return 4
        print(fault(error), end="", file=sys.stderr)
        print(OUR_FAULT, file=sys.stderr)
        return 3


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="liftseries",
        description="Outcomes of crestal sinus floor lifts with implants: a study folder in, a report out.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"liftseries {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for add in (
        add_run,
        add_changes,
        add_check,
        add_corrections,
        add_map,
        add_case,
        add_release,
        add_new,
        add_twin,
        add_pseudonymise,
        add_ladder,
        add_size,
    ):
        add(commands)
    return parser
