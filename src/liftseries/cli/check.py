"""`liftseries check`: every problem of the study's tables, by cause; the rows refused out to be corrected, and back."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.base.numbers import counted
from liftseries.base.progress import step
from liftseries.cli.arguments import add_command, add_study, plan_of
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE

MOST_PLACES = 5  # that are printed of a rule

if TYPE_CHECKING:
    from liftseries.intake.study import Intake


def add_check(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands, "check", help="every problem of the study's tables, by cause", example="check synthetic_data"
    )
    add_study(command)
    workbook = command.add_mutually_exclusive_group()
    workbook.add_argument(
        "--corrections", type=Path, metavar="FILE.xlsx",
        help="write the refused rows to a new workbook, for those who typed them to correct",
    )  # fmt: skip
    workbook.add_argument(
        "--apply", type=Path, metavar="FILE.xlsx",
        help="take the corrected workbook over into corrections.csv, then check; the tables stay as they are",
    )  # fmt: skip
    command.add_argument(
        "--odd", action="store_true", help="with --corrections: also the rows that are odd and not accepted"
    )
    command.add_argument("--person", default="", help="with --apply: who changed rows that do not say so; a pseudonym")
    command.add_argument("--reason", default="", help="with --apply: why, for changed rows that do not say so")
    command.add_argument(
        "--yes", action="store_true", help="with --apply: leave out what depends on a row left out, without asking"
    )
    command.add_argument(
        "--list", type=Path, metavar="FILE", action="append", default=[],
        help="write every problem to a workbook (.xlsx), a sheet a centre to be sent to it, or to a CSV; no text "
        "of a cell is in it; may be repeated",
    )  # fmt: skip
    command.add_argument(
        "--decisions", type=Path, metavar="FILE.csv",
        help="write how each cell was taken that is not simply what it shows, and by which rule",
    )  # fmt: skip
    command.add_argument(
        "--json", action="store_true", help="print JSON for scripts, as schemas/check_json.yaml describes it"
    )
    command.add_argument(
        "--only", action="append", default=[], metavar="FILE",
        help="check the tables of this file alone, as study.yaml names it; may stand repeatedly",
    )  # fmt: skip
    command.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> int:
    from liftseries.cli.corrections import convert_older
    from liftseries.intake.study import check_study
    from liftseries.intake.told.decisions import write_decisions
    from liftseries.intake.told.problem_list import check_may_be_written, write_problems

    try:
        plan = plan_of(options.study)
    except StudyError as error:
        return _tell_plan(error, options.json)
    for path in options.list:
        check_may_be_written(plan, path)
    if options.corrections:
        from liftseries.intake.books import correction_book

        correction_book.check_may_be_written(plan, options.corrections)
    if options.apply and options.json:
        raise UsageError("--apply tells what it took over in words; give --json in a second call.")
    if options.odd and not options.corrections:
        raise UsageError("--odd goes with --corrections FILE.xlsx. Name the workbook to write.")
    if options.only and (options.corrections or options.apply):
        raise UsageError("--only checks; leave it out where corrections go out or come back.")
    for line in convert_older(plan):
        print(line, file=sys.stderr if options.json else sys.stdout)
    not_taken = _applied(plan, options) if options.apply else []
    step("Reading and checking the tables")
    intake, problems = check_study(plan, options.only)
    if options.list or options.decisions:
        step("Writing the lists")
    if options.decisions:
        write_decisions(plan, intake.decisions, options.decisions)
    for path in options.list:
        write_problems(intake.findings, intake.centres, path)
    status = 1 if problems or not_taken else 0
    if options.json:
        _print_json(plan, intake, status)
    elif status:
        _tell_problems(plan, intake, options, not_taken)
    else:
        _tell_sound(plan, intake, options)
    return status


def _tell_plan(error: StudyError, as_json: bool) -> int:
    """What is wrong with study.yaml, before any table is read."""
    from liftseries.intake.told.causes import Item, causes_of
    from liftseries.intake.told.screen import json_of

    if not as_json:
        print(error)
        print("Next: mend study.yaml, then check again; no table was read.")
        return 1
    items = [Item("plan_is_valid", problem.place, problem.message, file="study.yaml") for problem in error.problems]
    print(json.dumps(json_of(causes_of(items, ("rule",)), [], {}, 1), indent=2, ensure_ascii=False))
    return 1


def _print_json(plan: Plan, intake: Intake, status: int) -> None:
    from liftseries.intake.oddities.found import keys_without_an_oddity
    from liftseries.intake.study import oddities_of
    from liftseries.intake.told.causes import causes_of
    from liftseries.intake.told.screen import json_of, oddities_as_json
    from liftseries.study.oddities import accepted_keys, oddity_rules

    found = oddities_of(plan, intake)
    odd = oddities_as_json(
        causes_of(one for one in found if not one.accepted),
        causes_of(one for one in found if one.accepted),
        {name: (rule.threshold, rule.reason) for name, rule in oddity_rules().items()},
        keys_without_an_oddity(found, accepted_keys(plan.accepted_oddities)),
    )
    told = json_of(intake.causes, intake.decided, intake.proposed_reading, status, odd)
    print(json.dumps(told, indent=2, ensure_ascii=False))


def _tell_problems(plan: Plan, intake: Intake, options: argparse.Namespace, not_taken: list[Problem]) -> None:
    from liftseries.intake.screens import screen_of

    for problem in not_taken:
        print(problem)
    closing = [*_oddity_lines(plan, intake, brief=True), *_corrected(intake, options), *_written(options)]
    if options.corrections:
        closing += _write_corrections(plan, options)
    how = "send each centre its sheet" if options.list else "`--list problems.xlsx` has a sheet a centre"
    closing.append(f"Next: mend study.yaml or the files, most blocking first ({how}), then check again.")
    if intake.causes:
        print(screen_of(plan, intake, intake.causes, closing), end="")
    else:
        print(closing[-1])


def _tell_sound(plan: Plan, intake: Intake, options: argparse.Namespace) -> None:
    from liftseries.intake.set_aside import LEFT_OUT
    from liftseries.intake.told.screen import decision_lines

    for table, counts in intake.counts.groupby("table", sort=False):
        left_out = (intake.set_aside[["table", "rule"]] == [table, LEFT_OUT]).all(axis="columns").sum()
        without = f", {left_out} of them left out" if left_out else ""
        print(f"{table}: {counted(counts['read'].sum(), 'row')} from {counted(len(counts), 'file')}{without}")
    odd = _oddity_lines(plan, intake, brief=False)
    book = _write_corrections(plan, options) if options.corrections else []
    for line in [*decision_lines(intake.decided), *_corrected(intake, options), *odd, *_written(options), *book]:
        print(line)
    print(f"No problem found. Next: liftseries run {options.study}")


def _corrected(intake: Intake, options: argparse.Namespace) -> list[str]:
    from liftseries.cli.corrections import state_lines

    return [] if options.only else state_lines(intake.corrections)  # lines for other files would find no row


def _written(options: argparse.Namespace) -> list[str]:
    made = [*options.list, *([options.decisions] if options.decisions else [])]
    return [f"Made {', '.join(map(str, made))}."] if made else []


def _oddity_lines(plan: Plan, intake: Intake, brief: bool) -> list[str]:
    """A paragraph a rule, or where `brief` a line for all; those that the plan accepts are counted."""
    from liftseries.intake.oddities.found import keys_without_an_oddity
    from liftseries.intake.study import oddities_of
    from liftseries.intake.told.causes import causes_of
    from liftseries.intake.told.screen import oddity_lines
    from liftseries.study.oddities import accepted_keys, oddity_rules

    found = oddities_of(plan, intake)
    rules = {name: f"{rule.threshold}. {rule.reason}" for name, rule in oddity_rules().items()}
    odd = {cause.rule: cause for cause in causes_of((one for one in found if not one.accepted), by=("rule",))}
    lines = oddity_lines([odd[name] for name in rules if name in odd], rules, brief)
    for name, n in Counter(oddity.rule for oddity in found if oddity.accepted).items():
        lines.append(f"Odd and accepted, {name}: {counted(n, 'entry', 'entries')}.")
    for name, n in keys_without_an_oddity(found, accepted_keys(plan.accepted_oddities)).items():
        lines.append(f"{name}: {counted(n, 'accepted key')} without an odd entry now. Take it out of study.yaml.")
    return lines


def _applied(plan: Plan, options: argparse.Namespace) -> list[Problem]:
    """Takes a correction workbook over and tells how much; gives what could not be taken."""
    from liftseries.cli.corrections import consent_asked
    from liftseries.intake.books.returned_book import apply_book

    asks = (lambda told: True) if options.yes else consent_asked
    applied = apply_book(plan, options.apply, asks, options.person, options.reason)
    print(
        f"{counted(applied.n_cells, 'cell')} corrected and {counted(applied.n_left_out, 'row')} left out, "
        f"in {CORRECTIONS_FILE}; {counted(len(applied.refused), 'entry', 'entries')} not taken."
    )
    return applied.refused


def _write_corrections(plan: Plan, options: argparse.Namespace) -> list[str]:
    from liftseries.intake.books.correction_book import write_correction_book

    path = options.corrections
    found = write_correction_book(plan, path, options.odd)
    if not found.n_rows:
        return ["No row can be corrected in a workbook, so none was written."]
    lines = [f"{counted(found.n_rows, 'row')} to correct in {path}, which holds patients' rows: keep it in the house."]
    if found.elsewhere:
        lines.append(
            f"{counted(len(found.elsewhere), 'problem')} cannot be corrected there; its first sheet lists them."
        )
    return lines
