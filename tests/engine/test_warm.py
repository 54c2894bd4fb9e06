"""Jobs as forks of a warm process: done, failed, killed; the process dies with its run."""

from __future__ import annotations

import errno
import os
import platform
import re
import resource
import socket
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
import psutil
import pytest
from snakemake.iocontainers import Namedlist

from liftseries.base.errors import MACHINE_FAULTS, machine_fault
from liftseries.engine.hand_over import LOOKED_EVERY, JobFailed, ask, hand_over, start
from liftseries.engine.job import MACHINE, Job
from liftseries.engine.warm import ADDRESS, warmed

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="there is a warm process on Linux only")
HERE = "test_warm"
TAKEN = 2**29  # bytes


def note_process(job: Job) -> None:
    Path(job.outputs.note).write_text(f"{os.getpid()} {'pandas' in sys.modules}", encoding="utf-8")


def go_wrong(job: Job) -> None:
    raise RuntimeError("of our own")


def take_and_be_killed(job: Job) -> None:
    taken = b"x" * TAKEN
    time.sleep(3 * LOOKED_EVERY)
    os.kill(os.getpid(), len(taken[:9]))


def print_much(job: Job) -> None:
    print("x" * 100_000)


def take_memory_twice(job: Job) -> None:
    """Notes how many pages the machine had to hand out for the second time."""
    taken = b"x" * TAKEN
    del taken
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    taken = b"x" * TAKEN
    pages = resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
    Path(job.outputs.note).write_text(f"{pages} {len(taken)}", encoding="utf-8")


def fill_the_disk(job: Job) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def run_out_of_memory(job: Job) -> None:
    try:
        raise MemoryError
    except MemoryError as error:
        raise ValueError("a library's own words") from error


def ask_for_too_much(job: Job) -> None:
    """More than the address space that is left: the machine itself refuses it."""
    limit = resource.getrlimit(resource.RLIMIT_AS)[1]
    taken = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (taken + 2**28, limit))
    np.ones(2**30)


def load_without_room(job: Job) -> None:
    raise ImportError("libmade_up.so: failed to map segment from shared object")


def find_no_temporary_folder(job: Job) -> None:
    with patch("tempfile._candidate_tempdir_list", lambda: ["/nowhere/at/all"]), patch("tempfile.tempdir", None):
        tempfile.TemporaryDirectory()


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


@pytest.mark.skipif(not platform.libc_ver()[0], reason="glibc's way with memory")
def test_a_job_takes_again_the_memory_that_it_gave_free(warm, tmp_path):
    assert ask(job(tmp_path, "take_memory_twice")) == (0, "")
    pages, taken = map(int, (tmp_path / "note.txt").read_text(encoding="utf-8").split())
    assert pages < taken / resource.getpagesize() / 100


def test_a_failed_job_says_so_and_leaves_its_log(warm, tmp_path):
    assert ask(job(tmp_path, "go_wrong")) == (1, "")
    assert "RuntimeError" in (tmp_path / "job.log").read_text(encoding="utf-8")


def test_a_killed_fork_is_a_failed_job_and_tells_what_memory_it_had_taken(warm, tmp_path):
    status, told = ask(job(tmp_path, "take_and_be_killed"))
    assert (status, told.startswith(MACHINE_FAULTS["killed"])) == (1, True)
    assert float(re.search(r"It had taken ([\d.]+) GiB\.$", told)[1]) >= TAKEN / 2**30


@pytest.mark.parametrize(
    ("does", "kind"),
    [
        ("fill_the_disk", "disk_full"),
        ("run_out_of_memory", "memory"),
        ("ask_for_too_much", "memory"),
        ("load_without_room", "memory"),
        ("find_no_temporary_folder", "no_temporary_folder"),
    ],
)
def test_what_the_machine_lacks_is_handed_on_and_takes_no_log(warm, tmp_path, does, kind):
    status, told = ask(job(tmp_path, does))
    assert (status, told.startswith(MACHINE_FAULTS[kind])) == (1, True)
    assert (tmp_path / "job.log").read_text(encoding="utf-8") == ""


def test_a_refused_request_tells_what_was_asked_for(warm, tmp_path):
    _, told = ask(job(tmp_path, "ask_for_too_much"))
    assert re.search(r"It had taken 0\.\d\d GiB and asked for 8\.00 GiB more\.$", told), told


def test_an_import_that_fails_for_another_reason_is_no_fault_of_the_machine():
    assert machine_fault(ImportError("no module of that name")) is None
    assert machine_fault(RuntimeError("dictionary changed size")) is None


def test_without_a_warm_process_there_is_nobody_to_ask(tmp_path, monkeypatch):
    monkeypatch.delenv(ADDRESS, raising=False)
    assert ask(job(tmp_path, "note_process")) is None
    monkeypatch.setenv(ADDRESS, str(tmp_path / "gone"))
    assert ask(job(tmp_path, "note_process")) is None


@pytest.fixture
def cold(monkeypatch):
    monkeypatch.delenv(ADDRESS, raising=False)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(Path(__file__).parent), *sys.path]))


def test_without_one_a_job_has_a_process_of_its_own(cold, tmp_path):
    assert start(job(tmp_path, "note_process")) == (0, "")
    assert int((tmp_path / "note.txt").read_text(encoding="utf-8").split()[0]) != os.getpid()


def test_what_a_job_prints_is_not_taken_for_its_answer(cold, tmp_path):
    assert start(job(tmp_path, "print_much")) == (0, "")


@pytest.mark.parametrize(
    ("does", "kind"), [("go_wrong", None), ("take_and_be_killed", "killed"), ("fill_the_disk", "disk_full")]
)
def test_a_job_that_fails_in_its_own_process_tells_as_much(cold, tmp_path, does, kind):
    status, told = start(job(tmp_path, does))
    assert (status, told) == (1, MACHINE_FAULTS[kind] if kind else "")


def test_a_failed_job_fails_its_rule_and_hands_on_what_the_machine_lacks(cold, tmp_path, capfd):
    does, outputs = Namedlist(fromdict={"does": f"{HERE}:fill_the_disk"}), Namedlist(fromdict={})
    with pytest.raises(JobFailed):
        hand_over(outputs, outputs, does, outputs, [str(tmp_path / "job.log")])
    assert capfd.readouterr().err == f"{MACHINE}{MACHINE_FAULTS['disk_full']}\n"


def test_the_process_dies_with_its_run(tmp_path):
    before = set(psutil.Process().children())
    with warmed(tmp_path, dict(os.environ)):
        (process,) = set(psutil.Process().children()) - before
        assert process.is_running()
    assert not process.is_running()


def test_a_job_waits_no_longer_than_libraries_may_take(tmp_path, monkeypatch):
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(str(tmp_path / "jobs"))
        door.listen()
        monkeypatch.setenv(ADDRESS, str(tmp_path / "jobs"))
        monkeypatch.setattr("liftseries.engine.hand_over.LONGEST_LOAD", 0.1)
        assert ask(job(tmp_path, "note_process")) == (1, MACHINE_FAULTS["not_loaded"])


def test_one_that_looks_for_nothing_ends_with_its_run_too(tmp_path):
    """A library that waits for memory while it is loaded, which may be for ever."""
    (tmp_path / "pandas.py").write_text("while True:\n    pass\n", encoding="utf-8")
    before = set(psutil.Process().children())
    with warmed(tmp_path, {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}):
        (process,) = set(psutil.Process().children()) - before
        time.sleep(1)
        assert process.is_running()
    assert not process.is_running()
