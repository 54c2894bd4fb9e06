"""What is added to corrections.csv beside a returned workbook: lines withdrawn, older lines given keys, a lost key."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import replace

from liftseries.base.errors import Problem, StudyError, UsageError
from liftseries.intake.corrections.by_row import Converted, convert, has_lines_by_row
from liftseries.intake.corrections.chains import State, lines_that_hold
from liftseries.intake.corrections.corrected import lay_over, stood_class, stood_hash
from liftseries.intake.corrections.lines import (
    WITHDRAW,
    Correction,
    Corrections,
    append_corrections,
    identifying_words,
    read_corrections,
)
from liftseries.intake.corrections.secret import key_of, read_key, trusted
from liftseries.intake.draft.opened import opened
from liftseries.intake.identifiers.kinds import Role
from liftseries.study.plan import Plan
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE

RENEWED = "taken on trust, for the key of its hash was lost"


def today() -> str:
    """The date that a new line bears."""
    return datetime.date.today().isoformat()


def convert_older_lines(plan: Plan) -> Converted | None:
    """Gives lines by row number the rows' keys; None where there are none."""
    if not has_lines_by_row(plan):
        return None
    return convert(
        plan, {name: draft.filed for name, draft in opened(plan, Corrections(secret=key_of(plan.folder))).items()}
    )


def sound_corrections(plan: Plan) -> Corrections:
    """corrections.csv as lines are added to it, with the key that their hashes need.

    Where the key was lost and the command line says --trust, every line that is applied gets a line that supersedes it,
    hashed with a new key.

    Raises
    ------
    StudyError
        The file has problems; or it has hashes and the key is not there.
    """
    corrections = read_corrections(plan)
    if corrections.findings:
        raise StudyError([Problem(finding.place, finding.message) for finding in corrections.findings])
    lost = read_key(plan.folder) is None and any(line.stood_hash for line in corrections.lines)
    if lost and not trusted():
        message = f"{KEY_FILE} is not beside it. Put it back, or say --trust to take its lines as they are."
        raise StudyError([Problem(CORRECTIONS_FILE, message)])
    corrections.secret = key_of(plan.folder)
    if lost:
        append_corrections(plan, _renewed(plan, corrections))
        corrections = read_corrections(plan)
    return corrections


def _renewed(plan: Plan, corrections: Corrections) -> list[Correction]:
    """Lines in the place of those that are applied on trust, hashed with the new key."""
    trusting = Corrections(corrections.lines)  # without a key, as they were applied
    without = opened(plan, trusting)
    laid = lay_over({name: draft.filed for name, draft in without.items()}, trusting)
    lines = []
    for line in corrections.lines:
        if laid.states.get(line.line) is State.APPLIED:
            filed = replace(laid.tables[line.table], secret=corrections.secret)
            rows = laid.rows[line.line]
            lines.append(
                replace(
                    line,
                    line=corrections.last + len(lines) + 1,
                    stood=stood_class(filed, line.column, rows),
                    stood_hash=stood_hash(filed, line.key, line.column, rows),
                    reason=f"{line.reason}; {RENEWED}",
                    date=today(),
                    supersedes=line.line,
                )
            )
    return lines


def withdraw(plan: Plan, numbers: Iterable[int], person: str, reason: str) -> int:
    """Takes lines back by new ones; gives how many. What a line came in the place of holds again.

    Parameters
    ----------
    plan
    numbers : of the lines
    person, reason : a pseudonym, and why

    Raises
    ------
    UsageError
        A number is none of a line that holds, or person or reason are missing or point to somebody.
    """
    if not (person and reason):
        raise UsageError("--withdraw needs --person, a pseudonym, and --reason.")
    for what, told in (("--person", identifying_words(person, Role.KEY)), ("--reason", identifying_words(reason))):
        if told:
            raise UsageError(f"{what} holds {told}")
    corrections = sound_corrections(plan)
    hold = {line.line: line for line in lines_that_hold(corrections.lines)[0]}
    numbers = list(dict.fromkeys(numbers))
    if unknown := [number for number in numbers if number not in hold]:
        told = ", ".join(map(str, unknown))
        raise UsageError(
            f"--withdraw {told}: no line of {CORRECTIONS_FILE} that still holds. Look at its first column."
        )
    lines = [
        replace(
            hold[number],
            line=corrections.last + at,
            column="",
            stood="line",
            stood_hash="",
            value=WITHDRAW,
            reason=reason,
            person=person,
            date=today(),
            supersedes=number,
        )
        for at, number in enumerate(numbers, start=1)
    ]
    append_corrections(plan, lines)
    return len(lines)
