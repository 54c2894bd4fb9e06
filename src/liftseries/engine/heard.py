"""What a run hears of Snakemake: which step each job is, which of them failed, and what the machine lacked."""

from __future__ import annotations

import re
import signal
from collections.abc import Iterable, Iterator

from liftseries.base.errors import MACHINE_FAULTS, MachineFault
from liftseries.engine.job import MACHINE

# What Snakemake says, and the machine's fault behind it.
OF_SNAKEMAKE = {
    "No space left on device": "disk_full",
    "Disk quota exceeded": "disk_full",
    "Read-only file system": "not_writable",
    "Permission denied": "not_writable",
    "No usable temporary directory": "no_temporary_folder",
    "Cannot allocate memory": "memory",
    "MemoryError": "memory",
    "can't start new thread": "memory",
    "failed to map segment": "memory",
    "died with <Signals.SIGKILL": "killed",
    "clock skew": "clock",
}


class Heard:
    """Notes what its end may need of a run; a full disk takes no log.

    Attributes
    ----------
    begun : number of a job -> what its step is called, in the order in which they began
    """

    def __init__(self) -> None:
        self.begun: dict[str, str] = {}
        self._done: set[str] = set()
        self._machine: list[str] = []
        self._failed, self._tells_of_failure = "", False

    def noted(self, lines: Iterable[str]) -> Iterator[str]:
        """The lines as they are, having noted them."""
        for line in lines:
            if line.startswith(MACHINE) or any(words in line for words in OF_SNAKEMAKE):
                self._machine.append(line.strip())
            elif job := re.match(r"Job (\d+): (.+)", line):
                self.begun[job[1]] = job[2]
            elif done := re.match(r"Finished jobid: (\d+)", line):
                self._done.add(done[1])
            elif line.startswith("Error in rule"):
                self._tells_of_failure = True
            elif self._tells_of_failure and (job := re.match(r"\s+jobid: (\d+)", line)):
                self._failed, self._tells_of_failure = self._failed or job[1], False
            yield line

    def machine_fault(self, status: int) -> MachineFault | None:
        """The machine's fault of which a run ended, with the step; None where it was another's.

        Parameters
        ----------
        status : of Snakemake
        """
        for line in self._machine:
            kind = next((kind for words, kind in OF_SNAKEMAKE.items() if words in line), None)
            told = line.removeprefix(MACHINE) if line.startswith(MACHINE) or not kind else MACHINE_FAULTS[kind]
            return MachineFault(self._at([self._failed]) + told)
        if status == -signal.SIGKILL:
            at_work = [job for job in self.begun if job not in self._done]
            return MachineFault(self._at(at_work) + MACHINE_FAULTS["killed"])
        return None

    def _at(self, jobs: Iterable[str]) -> str:
        steps = dict.fromkeys(self.begun[job] for job in jobs if job in self.begun)
        return f"{'; '.join(steps)}: " if steps else ""
