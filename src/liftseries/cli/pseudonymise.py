"""`liftseries pseudonymise`: a centre's tables to tables without identifiers and dates."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.base.numbers import counted
from liftseries.base.progress import step
from liftseries.cli.arguments import add_command


def add_pseudonymise(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "pseudonymise",
        help="a centre's tables to tables without identifiers and dates",
        description="Patients, sites and operators get keyed pseudonyms: blanks and letter case do not matter, leading "
        "zeros do. Dates become months since placement (days / 30.4375), the year of surgery and the age then; columns "
        "of names, addresses and the like go. Centres that share a key must not share running numbers.",
        example="pseudonymise synthetic_data/heath_patients.csv heath --key heath.key --new-key",
    )
    command.add_argument("source", metavar="IN", type=Path, help="a folder of tables, or one file; stays as it is")
    command.add_argument("target", metavar="OUT", type=Path, help="the folder to make; must be empty or not yet there")
    command.add_argument("--key", type=Path, required=True, metavar="FILE", help="the key file, kept apart from tables")
    command.add_argument("--new-key", action="store_true", help="make the key file, for its owner alone to read")
    command.add_argument("--dates", choices=["day-first", "month-first", "iso"], help="how dates were typed")
    for what, does in (
        ("keep", "keep a column that is not known, once you have looked at all of it"),
        ("drop", "leave a column out"),
        ("replace", "replace the texts of another column by pseudonyms too, such as centre"),
    ):
        command.add_argument(
            f"--{what}", action="append", default=[], metavar="COLUMN", help=f"{does}; may be repeated"
        )
    command.set_defaults(command=_pseudonymise)


def _pseudonymise(options: argparse.Namespace) -> int:
    from liftseries.pseudonyms.folder import LOG, check_folders, pseudonymise
    from liftseries.pseudonyms.key import check_place, new_key, read_key, write_key
    from liftseries.pseudonyms.tables import Options

    check_folders(options.source, options.target)
    home = options.source if options.source.is_dir() else options.source.parent
    check_place(options.key, home, options.target)
    if options.new_key:
        write_key(options.key, new_key())
        print(f"Made {options.key}. Keep a copy: without it nobody can tell the pseudonyms back or make them again.")
    named = options.keep, options.drop, options.replace
    names = (frozenset(name.strip().lower() for name in group) for group in named)
    step("Replacing identifiers and dates")
    log = pseudonymise(options.source, options.target, read_key(options.key), Options(options.dates, *names))
    n_tables = counted(log["file"].nunique(), "table")
    print(
        f"Made {options.target}: {n_tables}; {LOG} tells what was done to each column. "
        "Next: name them in study.yaml, then check."
    )
    return 0
