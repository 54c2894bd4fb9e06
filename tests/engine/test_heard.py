"""What a run hears of Snakemake: the step of the job that failed, and what the machine lacked."""

from __future__ import annotations

import pytest

from liftseries.base.errors import MACHINE_FAULTS
from liftseries.engine.heard import Heard
from liftseries.engine.job import MACHINE

WORDS = """\
Job 3: Modelling perforation
Job 4: Modelling bone gain
Finished jobid: 3 (Rule: perforation_gee)
{said}
Error in rule gain_mixed:
    message: None
    jobid: 4
    output: work/gain_mixed.csv
Error in rule everything:
    jobid: 0
"""


def heard(said: str) -> Heard:
    run = Heard()
    assert "".join(run.noted((WORDS.format(said=said)).splitlines(keepends=True))) == WORDS.format(said=said)
    return run


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        (f"{MACHINE}{MACHINE_FAULTS['memory']} It had taken 1.20 GiB.", "memory"),
        ("OSError: [Errno 12] Cannot allocate memory", "memory"),
        ("numpy._core._exceptions._ArrayMemoryError: Unable to allocate 8 GiB", "memory"),
        ("subprocess.CalledProcessError: ... died with <Signals.SIGKILL: 9>.", "killed"),
        ("OSError: [Errno 28] No space left on device", "disk_full"),
    ],
)
def test_the_step_that_the_machine_failed_is_named(said, kind):
    told = str(heard(said).machine_fault(1))
    assert told.startswith(f"Modelling bone gain: {MACHINE_FAULTS[kind]}")
    assert told.endswith("It had taken 1.20 GiB.") is ("It had" in said)


def test_where_all_was_killed_the_steps_at_work_are_named():
    run = Heard()
    list(run.noted(WORDS.splitlines()[:3]))
    assert str(run.machine_fault(-9)) == f"Modelling bone gain: {MACHINE_FAULTS['killed']}"


def test_another_fault_is_not_the_machine_s():
    assert heard("KeyError (its words may quote a cell)").machine_fault(1) is None
