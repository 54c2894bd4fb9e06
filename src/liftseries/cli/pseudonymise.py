"""`liftseries pseudonymise`: a centre's tables to tables without identifiers and dates."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.base.numbers import counted
from liftseries.base.progress import step
from liftseries.cli.arguments import add_command, plan_of


def add_pseudonymise(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "pseudonymise",
        help="a centre's tables to tables without identifiers and dates",
        description="Patients and sites get keyed pseudonyms, told apart by their centre, else by the names of the "
        "files; operators and labels get codes. Blanks and letter case do not matter, leading zeros do. Dates become "
        "months since placement, the year of surgery and the age then. A cell that is no number in its column's range, "
        "no level and no label is left blank; free texts and unknown columns are dropped; what was, is told. The same "
        "key gives the same codes again, also with more rows.",
        example="pseudonymise synthetic_data/heath_patients.csv heath --key heath.key --new-key",
    )
    command.add_argument("source", metavar="IN", type=Path, help="a folder of tables, or one file; stays as it is")
    command.add_argument("target", metavar="OUT", type=Path, help="the folder to make; must be empty or not yet there")
    command.add_argument("--key", type=Path, required=True, metavar="FILE", help="the key file, kept apart from tables")
    command.add_argument("--new-key", action="store_true", help="make the key file, for its owner alone to read")
    command.add_argument("--dates", choices=["day-first", "month-first", "iso"], help="how dates were typed")
    command.add_argument("--centre", default="", metavar="NAME", help="of patients whose table does not say it")
    command.add_argument("--reading", type=Path, metavar="FILE", help="how the centre's columns and words are read")
    command.add_argument("--study", metavar="STUDY", help="whose extra_columns and reading hold here too")
    for what, does in (
        ("keep", "keep the texts of a label, a free text or an unknown column that enough patients have"),
        ("drop", "leave a column out"),
        ("replace", "replace the texts of a column that the dictionary does not know by codes"),
    ):
        command.add_argument(
            f"--{what}", action="append", default=[], metavar="COLUMN", help=f"{does}; may be repeated"
        )
    command.set_defaults(command=_pseudonymise)


def _pseudonymise(options: argparse.Namespace) -> int:
    from liftseries.pseudonyms.folder import LOG, check_folders, pseudonymise
    from liftseries.pseudonyms.key import check_place, new_key, read_key, write_key

    check_folders(options.source, options.target)
    home = options.source if options.source.is_dir() else options.source.parent
    check_place(options.key, home, options.target)
    asked = _asked(options)
    if options.new_key:
        write_key(options.key, new_key())
        print(f"Made {options.key}. Keep a copy: without it nobody can tell the pseudonyms back or make them again.")
    step("Replacing identifiers and dates")
    made = pseudonymise(options.source, options.target, read_key(options.key), asked)
    for line in (*made.told, *made.shown):
        print(line)
    print(
        f"Made {options.target}: {counted(made.n_tables, 'table')}; {LOG} tells what was done to each column. "
        "Next: name them in study.yaml, then check."
    )
    print(made.last)
    return 0


def _asked(options: argparse.Namespace):
    from liftseries.pseudonyms.reading_file import read_reading
    from liftseries.pseudonyms.tables import Options
    from liftseries.study.plan_files import PLAN_FILE
    from liftseries.study.schema import audit_schema, read_schema

    plan = plan_of(options.study) if options.study else None
    keep, drop, replace = (
        frozenset(name.strip().lower() for name in names) for names in (options.keep, options.drop, options.replace)
    )
    extra = plan.extra_columns if plan else {}
    of_study = {"smallest_cell": plan.smallest_cell} if plan else {}
    study_yaml = plan.folder / PLAN_FILE if plan else None
    reading = read_reading(options.reading, {**read_schema(extra), **audit_schema()}, study_yaml)
    return Options(options.dates, keep, drop, replace, options.centre, extra_columns=extra, reading=reading, **of_study)
