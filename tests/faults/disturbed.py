"""A small study, runs of it that are disturbed, and whether in the end they leave what an undisturbed one leaves.

    python tests/faults/disturbed.py [--kills 50]

disturbs runs at so many moments, each way of disturbing in turn, and prints the table of README.md. Linux only. A disk
that is full or may not be written is a small tmpfs, for which it takes root.
"""

from __future__ import annotations

import argparse
import filecmp
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))
from studies import write_study

FEW = "plan: {resamples: 20, imputation: {sets: 2, iterations: 1}}"
OWN = {".snakemake", ".lock", ".hashed.json", "logs"}  # of a run's machinery, not what it leaves
PROCESS = "LIFTSERIES_RUN"


@dataclass(frozen=True)
class Said:
    status: int
    out: str
    err: str


def small_study(folder: Path) -> Path:
    """Four sites: every job of the workflow has something to do, if only to say that the series is too small."""
    return write_study(folder, plan=FEW)


def start(study: Path, *words: str, **environment: str) -> subprocess.Popen:
    """A run in a process group of its own, as a terminal gives it one, with these words of the environment more."""
    return subprocess.Popen(
        [sys.executable, "-m", "liftseries.cli", "run", str(study), "--cores", "2", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
        env={**os.environ, "PYTHONUTF8": "1", **environment},
        preexec_fn=heed_interrupts,
    )


def heed_interrupts() -> None:
    """What a shell starts in the background inherits that a key's signal is ignored."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def ended(run: subprocess.Popen) -> Said:
    out, err = run.communicate(timeout=900)
    return Said(run.returncode, out, err)


def whole(study: Path, *words: str, **environment: str) -> Said:
    return ended(start(study, *words, **environment))


def wait_for_job(run: subprocess.Popen, number: int) -> bool:
    """Reads what the run says until it begins its job of that number; false where it ends before."""
    return any(line.startswith(f"[{number}/") for line in run.stderr)


# ── what is left ────────────────────────────────────────────────────────────────────────────────────────────


def files(output: Path) -> dict[str, Path]:
    found = (path for path in sorted(output.rglob("*")) if path.is_file() and not path.name.startswith("."))
    return {
        name: path
        for path in found
        if not OWN & {*path.relative_to(output).parts} and (name := path.relative_to(output).as_posix())
    }


def differences(one: Path, other: Path) -> list[str]:
    """Names of what stands in one of two output folders alone, or with other bytes."""
    ones, others = files(one), files(other)
    common = [name for name in ones if name in others]
    return [
        *sorted({*ones} ^ {*others}),
        *(name for name in common if not filecmp.cmp(ones[name], others[name], shallow=False)),
    ]


def partial_files(output: Path) -> list[str]:
    """Files under a final name that cannot be read as what they are called: cut off."""
    import pandas as pd

    broken = []
    for name, path in files(output).items():
        if ".unfinished" in name:
            continue  # nobody takes these for whole
        data = path.read_bytes()
        ends = {".csv": b"\n", ".json": b"}\n", ".html": b"</html>", ".svg": b"</svg>", ".pdf": b"%%EOF"}
        if path.suffix in ends and not data.rstrip(b"\n").endswith(ends[path.suffix].rstrip(b"\n")):
            broken.append(name)
        if path.suffix == ".parquet":
            pd.read_parquet(path)
    return broken


def processes(study: Path) -> list[psutil.Process]:
    """Processes of a run that work in the study's output folder."""
    output, found = os.path.realpath(study / "output"), []
    for process in psutil.process_iter(["cwd", "status"]):
        if process.info["cwd"] == output and process.info["status"] != psutil.STATUS_ZOMBIE:
            found.append(process)
    return found


def left_running(study: Path, patience: float = 10) -> list[psutil.Process]:
    """Those that are still there after a while."""
    deadline = time.monotonic() + patience
    while (found := processes(study)) and time.monotonic() < deadline:
        time.sleep(0.05)
    return found


# ── ways to disturb ─────────────────────────────────────────────────────────────────────────────────────────


def kill_run(run: subprocess.Popen, study: Path) -> None:
    os.kill(run.pid, signal.SIGKILL)


def kill_workflow(run: subprocess.Popen, study: Path) -> None:
    _kill(p for p in psutil.Process(run.pid).children() if "liftseries.engine.local_snakemake" in p.cmdline())


def kill_job(run: subprocess.Popen, study: Path) -> None:
    """Forks of the process that has the libraries loaded, until the run ends: one may be done already."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline and run.poll() is None:
        for warm in psutil.Process(run.pid).children():
            with suppress(psutil.NoSuchProcess):
                if "liftseries.engine.warm" in warm.cmdline():
                    _kill(warm.children())
        time.sleep(0.005)


def interrupt(run: subprocess.Popen, study: Path) -> None:
    os.killpg(run.pid, signal.SIGINT)


def terminate(run: subprocess.Popen, study: Path) -> None:
    os.kill(run.pid, signal.SIGTERM)


def _kill(found) -> None:
    for process in found:
        with suppress(psutil.NoSuchProcess):
            process.kill()


# Way -> the statuses with which the run may end; 0 where it was done before.
WAYS = {
    kill_run: {-signal.SIGKILL},
    kill_workflow: {4},
    kill_job: {4},
    interrupt: {128 + signal.SIGINT, -signal.SIGINT},  # a shell tells both as 130
    terminate: {128 + signal.SIGTERM, -signal.SIGTERM},
}


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[None]:
    """A file system of its own with so much room, where the study's output goes."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def remount(folder: Path, options: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{options}", folder], check=True, capture_output=True)


def set_clock_back(output: Path, seconds: float = 86_400) -> None:
    """As the folder looks after the clock was set back: all in it was written in the future."""
    for path in [output, *output.rglob("*")]:
        if not path.is_symlink():
            later = path.stat().st_mtime + seconds
            os.utime(path, (later, later))


# ── by hand ─────────────────────────────────────────────────────────────────────────────────────────────────


def disturb_often(n_kills: int, scratch: Path) -> Counter:
    """Kills runs at random moments until so many were hit; counts by way what came of it."""
    undisturbed, counted, draw = small_study(scratch / "undisturbed"), Counter(), random.Random(1)
    started = time.monotonic()
    assert whole(undisturbed).status == 0
    lasts = time.monotonic() - started
    ways, n_hit, n_study = list(WAYS), 0, 0
    while n_hit < n_kills:
        study = small_study(scratch / f"study_{n_study}")
        n_study += 1
        for _ in range(5):
            way = ways[n_hit % len(ways)]
            run = start(study)
            time.sleep(draw.uniform(0.8, 0.5 * lasts))
            way(run, study)
            said = ended(run)
            if said.status == 0:
                break
            n_hit += 1
            counted[way.__name__, "hit"] += 1
            counted[way.__name__, "status as due"] += said.status in WAYS[way]
            counted[way.__name__, "no process left"] += not left_running(study)
            counted[way.__name__, "no file cut off"] += not partial_files(study / "output")
            counted[way.__name__, "no traceback"] += "Traceback" not in said.err
            if said.status not in WAYS[way]:
                print(way.__name__, said)
        said = whole(study)
        same = said.status == 0 and not differences(undisturbed / "output", study / "output")
        counted["studies", "brought to an end"] += 1
        counted["studies", "bytes as undisturbed"] += same
        if not same:
            print(study, said, differences(undisturbed / "output", study / "output"))
        else:
            shutil.rmtree(study)
        print(f"{n_hit} of {n_kills}", flush=True)
    return counted


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        counted = disturb_often(options.kills, Path(scratch))
    columns = ("hit", "status as due", "no process left", "no file cut off", "no traceback")
    print(f"| way | {' | '.join(columns)} |")
    print(f"|---|{'---|' * len(columns)}")
    for way in WAYS:
        print(f"| {way.__name__} | {' | '.join(str(counted[way.__name__, column]) for column in columns)} |")
    print({what: n for (who, what), n in counted.items() if who == "studies"})


if __name__ == "__main__":
    main()
