"""Jobs as forks of a warm process: done, failed, killed; the process dies with its run."""

from __future__ import annotations

import errno
import os
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from liftseries.base.errors import MACHINE_FAULTS
from liftseries.engine.job import Job
from liftseries.engine.script import ask
from liftseries.engine.warm import ADDRESS, warmed

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="there is a warm process on Linux only")
HERE = "test_warm"


def note_process(job: Job) -> None:
    Path(job.outputs.note).write_text(f"{os.getpid()} {'pandas' in sys.modules}", encoding="utf-8")


def go_wrong(job: Job) -> None:
    raise RuntimeError("of our own")


def be_killed(job: Job) -> None:
    os.kill(os.getpid(), 9)


def fill_the_disk(job: Job) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def run_out_of_memory(job: Job) -> None:
    try:
        raise MemoryError
    except MemoryError as error:
        raise ValueError("a library's own words") from error


def job(tmp_path, does: str) -> Job:
    empty = SimpleNamespace()
    outputs = SimpleNamespace(note=str(tmp_path / "note.txt"))
    return Job(empty, outputs, SimpleNamespace(does=f"{HERE}:{does}"), empty, str(tmp_path / "job.log"))


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])}
    with warmed(tmp_path_factory.mktemp("output"), environment) as told:
        deadline = time.monotonic() + 60
        while not Path(told[ADDRESS]).exists() and time.monotonic() < deadline:
            time.sleep(0.05)
        yield told[ADDRESS]


@pytest.fixture
def warm(address, monkeypatch):
    monkeypatch.setenv(ADDRESS, address)


def test_a_job_is_done_in_another_process_with_the_libraries_loaded(warm, tmp_path):
    assert ask(job(tmp_path, "note_process")) == (0, "")
    process, has_pandas = (tmp_path / "note.txt").read_text(encoding="utf-8").split()
    assert int(process) != os.getpid()
    assert has_pandas == "True"


def test_a_failed_job_says_so_and_leaves_its_log(warm, tmp_path):
    assert ask(job(tmp_path, "go_wrong")) == (1, "")
    assert "RuntimeError" in (tmp_path / "job.log").read_text(encoding="utf-8")


def test_a_killed_fork_is_a_failed_job(warm, tmp_path):
    assert ask(job(tmp_path, "be_killed")) == (1, MACHINE_FAULTS["killed"])


@pytest.mark.parametrize(("does", "kind"), [("fill_the_disk", "disk_full"), ("run_out_of_memory", "memory")])
def test_what_the_machine_lacks_is_handed_on_and_takes_no_log(warm, tmp_path, does, kind):
    assert ask(job(tmp_path, does)) == (1, MACHINE_FAULTS[kind])
    assert (tmp_path / "job.log").read_text(encoding="utf-8") == ""


def test_without_a_warm_process_there_is_nobody_to_ask(tmp_path, monkeypatch):
    monkeypatch.delenv(ADDRESS, raising=False)
    assert ask(job(tmp_path, "note_process")) is None
    monkeypatch.setenv(ADDRESS, str(tmp_path / "gone"))
    assert ask(job(tmp_path, "note_process")) is None


def test_the_process_dies_with_its_run(tmp_path):
    before = set(psutil.Process().children())
    with warmed(tmp_path, dict(os.environ)):
        (process,) = set(psutil.Process().children()) - before
        assert process.is_running()
    assert not process.is_running()
