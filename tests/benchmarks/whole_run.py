"""What a whole run of an invented series takes, rule by rule: wall time, seconds of the processor, peak memory.

    python tests/benchmarks/whole_run.py FOLDER --sites 640 10000 100000 [--parquet] [--keep]

Each size is written by `series_of_size.py` into FOLDER, all three reports are built from nothing, and while the run is
on the jobs are looked at (/proc, Linux): a job has its log open, by which it is known. Jobs are forks of a process that
has the libraries loaded, some 300 MB that all share. Prints a table in Markdown: a row a rule, the dearest first; the
last column says how many times as much the processor did as at the size before, by how many times the sites grew.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from series_of_size import ask_for_studies, studies

EVERY = 0.2  # seconds between two looks
TICKS = os.sysconf("SC_CLK_TCK")
PAGES = ("report.html", "comparison/report.html", "audit/report.html")


@dataclass
class Took:
    """What one run took.

    Attributes
    ----------
    wall : seconds
    peak_mb : the most that all its processes had together, what they share counted once
    jobs : log -> seconds on the wall, seconds of the processor, peak MB
    """

    wall: float = 0.0
    peak_mb: float = 0.0
    jobs: dict[str, list[float]] = field(default_factory=dict)

    def by_rule(self) -> dict[str, tuple[float, float, float]]:
        """Summed over a rule's jobs, the largest of their peaks."""
        rules: dict[str, list[list[float]]] = {}
        for log, job in self.jobs.items():
            rules.setdefault(re.sub(r"_\d+$", "", log), []).append(job)
        return {
            rule: (sum(j[0] for j in jobs), sum(j[1] for j in jobs), max(j[2] for j in jobs))
            for rule, jobs in rules.items()
        }


def below(pid: int) -> list[int]:
    """A process and all that it began."""
    parents: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                words = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            parents.setdefault(int(words[1]), []).append(int(entry.name))
    found = [pid]
    for one in found:
        found += parents.get(one, [])
    return found


def looked_at(pid: int, took: Took) -> float:
    """Notes what the jobs below a process have used so far; gives the MB of all, shared pages shared out."""
    total = 0.0
    for one in below(pid):
        folder = Path(f"/proc/{one}")
        try:
            pss = re.search(r"^Pss:\s+(\d+)", (folder / "smaps_rollup").read_text(), re.M)
            total += int(pss[1]) / 1024 if pss else 0.0
            if b"liftseries.engine.warm" not in (folder / "cmdline").read_bytes():
                continue
            logs = [os.readlink(entry) for entry in (folder / "fd").iterdir()]
            logs = [Path(link).stem for link in logs if "/logs/" in link and link.endswith(".log")]
            words = (folder / "stat").read_text().rsplit(")", 1)[1].split()
            peak = re.search(r"VmHWM:\s+(\d+)", (folder / "status").read_text())
        except OSError:  # it has ended
            continue
        if logs and peak:
            now = time.monotonic()
            job = took.jobs.setdefault(logs[0], [0.0, 0.0, 0.0, now])
            job[:3] = now - job[3], (int(words[11]) + int(words[12])) / TICKS, int(peak[1]) / 1024
    return total


def run_of(study: Path) -> Took:
    """A cold run of a study."""
    shutil.rmtree(study / "output", ignore_errors=True)
    took, started = Took(), time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "liftseries.cli", "run", study, "--quiet"], stdout=subprocess.DEVNULL
    )
    while process.poll() is None:
        took.peak_mb = max(took.peak_mb, looked_at(process.pid, took))
        time.sleep(EVERY)
    took.wall = time.monotonic() - started
    if process.returncode:
        raise SystemExit(f"{study}: the run failed")
    return took


def table_of(runs: dict[int, Took]) -> str:
    """A row a rule."""
    sizes, by_size = list(runs), {n: took.by_rule() for n, took in runs.items()}
    last = by_size[sizes[-1]]
    head = " | ".join(f"{n:,} sites: s, of the processor, MB" for n in sizes)
    lines = [f"| rule | {head} | growth |", f"|{'---|' * (len(sizes) + 2)}"]
    for rule in sorted(last, key=lambda name: -last[name][1]):
        cells = []
        for n in sizes:
            wall, cpu, mb = by_size[n].get(rule, (0.0, 0.0, 0.0))
            cells.append(f"{wall:.1f}, {cpu:.1f}, {mb:.0f}")
        growth = ""
        if len(sizes) > 1 and (before := by_size[sizes[-2]].get(rule)) and before[1] >= 0.1:
            growth = f"{last[rule][1] / before[1] / (sizes[-1] / sizes[-2]):.2f}"
        lines.append(f"| {rule} | {' | '.join(cells)} | {growth} |")
    whole = (f"{t.wall:.0f}, {sum(j[1] for j in t.jobs.values()):.0f}, {t.peak_mb:.0f}" for t in runs.values())
    lines.append(f"| the whole run | {' | '.join(whole)} | |")
    return "\n".join(lines)


def pages_of(output: Path) -> str:
    """How large the reports are."""
    return ", ".join(f"{page} {(output / page).stat().st_size / 1e6:.1f} MB" for page in PAGES)


def main() -> None:
    options = argparse.ArgumentParser()
    ask_for_studies(options, [640, 10_000])
    runs = {}
    for n_sites, study in studies(options.parse_args()):
        runs[n_sites] = run_of(study)
        print(f"{n_sites:,} sites: {pages_of(study / 'output')}", flush=True)
    print(table_of(runs))


if __name__ == "__main__":
    main()
