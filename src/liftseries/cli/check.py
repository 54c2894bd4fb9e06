"""`liftseries check`: every problem of the study's tables; the rows refused out to be corrected, and back."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from liftseries.base.errors import Problem
from liftseries.base.numbers import counted
from liftseries.cli.arguments import CAUTION, add_study, plan_of
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE

MOST_PLACES = 5  # that are printed of a rule

if TYPE_CHECKING:
    from liftseries.intake.study import Intake


def add_check(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = commands.add_parser("check", help="list every problem of the study's tables", epilog=CAUTION)
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
        "--decisions", type=Path, metavar="FILE.csv",
        help="write how each cell was taken that is not simply what it shows, and by which rule",
    )  # fmt: skip
    command.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> int:
    from liftseries.intake.set_aside import LEFT_OUT
    from liftseries.intake.study import check_study

    plan = plan_of(options.study)
    if options.corrections:
        from liftseries.intake.books.correction_book import check_may_be_written

        check_may_be_written(plan, options.corrections)
    not_taken = _applied(plan, options.apply) if options.apply else []
    intake, problems = check_study(plan)
    for problem in [*not_taken, *problems]:
        print(problem, file=sys.stderr)
    _tell_decisions(plan, intake, options.decisions)
    _tell_oddities(plan, intake)
    if problems or not_taken:
        print(f"{counted(len(problems), 'problem')} found.", file=sys.stderr)
        if options.corrections:
            _write_corrections(plan, options.corrections)
        return 1
    for table, counts in intake.counts.groupby("table", sort=False):
        files = f"{len(counts)} files" if len(counts) > 1 else "1 file"
        left_out = (intake.set_aside[["table", "rule"]] == [table, LEFT_OUT]).all(axis="columns").sum()
        without = f", {left_out} of them left out" if left_out else ""
        print(f"{table}: {counts['read'].sum()} rows from {files}{without}")
    print("No problem found.")
    return 0


def _tell_decisions(plan: Plan, intake: Intake, path: Path | None) -> None:
    """How many cells were not taken for what they show, what looks ten times too small, what may be confirmed."""
    from liftseries.intake.cells.words import as_yaml
    from liftseries.intake.checks.tenfold import RULE as TENFOLD
    from liftseries.intake.told.decisions import write_decisions

    if path:
        write_decisions(plan, intake.decisions, path)
    tenfold = intake.decisions[intake.decisions["rule"] == TENFOLD]
    for decision in tenfold.itertuples():
        print(f"{decision.place}: {decision.stood}: {decision.taken_for}.")
    if n := len(intake.decisions):
        where = f"listed in {path}" if path else "--decisions FILE.csv lists them"
        print(f"{counted(n, 'decision')} on what is not simply what it shows; {where}.")
    if intake.proposed_reading:
        print("If these words mean what they seem to, add to study.yaml, under `reading` if it is there already:\n")
        print(as_yaml(intake.proposed_reading))


def _tell_oddities(plan: Plan, intake: Intake) -> None:
    """A paragraph a rule: how many, why that is odd, up to five places; those that the plan accepts are counted."""
    from liftseries.intake.oddities.found import keys_without_an_oddity
    from liftseries.intake.study import oddities_of
    from liftseries.study.oddities import accepted_keys, oddity_rules

    found = oddities_of(plan, intake)
    for name, rule in oddity_rules().items():
        odd = [oddity for oddity in found if oddity.rule == name and not oddity.accepted]
        if odd:
            print(f"\nOdd, {name} ({counted(len(odd), 'entry', 'entries')}): {rule.threshold}. {rule.reason}")
            for oddity in odd[:MOST_PLACES]:
                print(f"  {oddity.place}: {oddity.message}")
            if len(odd) > MOST_PLACES:
                print(f"  and {len(odd) - MOST_PLACES} more, in oddities.csv after a run")
    for name, n in Counter(oddity.rule for oddity in found if oddity.accepted).items():
        print(f"Odd and accepted, {name}: {counted(n, 'entry', 'entries')}.")
    for name, n in keys_without_an_oddity(found, accepted_keys(plan.accepted_oddities)).items():
        print(f"{name}: {counted(n, 'accepted key')} without an odd entry now. Take it out of study.yaml.")
    if any(not oddity.accepted for oddity in found):
        print("Odd entries stop nothing. Correct them, or name them under `accepted_oddities` in study.yaml.")


def _applied(plan: Plan, path: Path) -> list[Problem]:
    """Takes a correction workbook over and tells how much; gives what could not be taken."""
    from liftseries.intake.books.returned_book import apply_book

    applied = apply_book(plan, path)
    print(
        f"{counted(applied.n_cells, 'cell')} corrected and {counted(applied.n_left_out, 'row')} left out, "
        f"in {CORRECTIONS_FILE}; {counted(len(applied.refused), 'entry', 'entries')} not taken."
    )
    return applied.refused


def _write_corrections(plan: Plan, path: Path) -> None:
    from liftseries.intake.books.correction_book import write_correction_book

    found = write_correction_book(plan, path)
    if not found.n_rows:
        print("No row can be corrected in a workbook, so none was written.")
        return
    print(f"{counted(found.n_rows, 'row')} to correct in {path}, which holds patients' rows: keep it in the house.")
    if found.elsewhere:
        print(f"{counted(len(found.elsewhere), 'problem')} cannot be corrected there; its first sheet lists them.")
