"""Which lines of corrections.csv hold, where some have come in the place of others or were taken back; their states."""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum

from liftseries.intake.corrections.lines import Correction


class State(Enum):
    """What became of a line at this reading."""

    APPLIED = "applied"
    ALREADY_SO = "already so"
    NOT_THERE = "not there"
    AMBIGUOUS = "ambiguous"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    NOT_VERIFIED = "not verified"  # the key is lost, or a person wrote the line, and nobody said --trust


def lines_that_hold(lines: Iterable[Correction]) -> tuple[list[Correction], dict[int, State]]:
    """The lines in whose place no other has come, by number, and the states of the others.

    Where the line that came in its place is taken back, a line holds again; not one that said the same, for then the
    later line stood for it.
    """
    live: dict[int, Correction] = {}
    states: dict[int, State] = {}
    replaced: dict[int, list[Correction]] = {}  # by a line's number: those in whose place it came
    of_cell: dict[tuple[str, str, str], int] = {}
    for line in lines:
        if line.withdraws:
            taken_back = [live.pop(line.supersedes, None)]
            states[line.supersedes] = State.WITHDRAWN
            while taken_back:
                later = taken_back.pop()
                for earlier in replaced.get(later.line, ()) if later else ():
                    if states[earlier.line] is State.WITHDRAWN or _says_the_same(earlier, later):
                        taken_back.append(earlier)
                    else:
                        del states[earlier.line]
                        live[earlier.line], of_cell[_cell(earlier)] = earlier, earlier.line
            continue
        before = [live.pop(number, None) for number in (line.supersedes or 0, of_cell.get(_cell(line), 0))]
        replaced[line.line] = [earlier for earlier in before if earlier is not None]
        states |= {earlier.line: State.SUPERSEDED for earlier in replaced[line.line]}
        live[line.line], of_cell[_cell(line)] = line, line.line
    return [live[number] for number in sorted(live)], states


def _cell(line: Correction) -> tuple[str, str, str]:
    return line.table, line.key, line.column


def _says_the_same(line: Correction, other: Correction) -> bool:
    return (*_cell(line), line.value) == (*_cell(other), other.value)
