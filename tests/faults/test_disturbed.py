"""Whatever disturbs a run: its words, its status, nothing left running, in the end the bytes of an undisturbed one.

One study is disturbed again and again, so that the whole costs little more than a run; `disturbed.py` does more.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest
from faults import disturbed
from faults.disturbed import (
    WAYS,
    differences,
    ended,
    left_running,
    partial_files,
    remount,
    set_clock_back,
    small_disk,
    small_study,
    start,
    wait_for_job,
    whole,
)

from liftseries.engine.processes import MARK
from liftseries.engine.warm import ADDRESS, warmed

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are looked for as Linux shows them")


@pytest.fixture(scope="module")
def shared(tmp_path_factory) -> dict[str, str]:
    """What tells runs whose processes are not looked at of one with the libraries loaded, which saves each its own."""
    with warmed(tmp_path_factory.mktemp("warm"), {**os.environ, MARK: "1", "PYTHONUTF8": "1"}) as environment:
        yield {ADDRESS: environment[ADDRESS]}


@pytest.fixture(scope="module", autouse=True)
def begun(tmp_path_factory, shared) -> tuple[Path, subprocess.Popen]:
    """A study whose run nobody disturbs; it is at work while others are disturbed, which costs no time."""
    study = small_study(tmp_path_factory.mktemp("undisturbed") / "study")
    run = start(study, **shared)
    yield study, run
    run.kill()


@pytest.fixture(scope="module")
def undisturbed(begun) -> Path:
    study, run = begun
    said = ended(run)
    assert said.status == 0, said
    return study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """The study that all the tests here disturb in turn, on a disk of its own where that can be had."""
    study = small_study(tmp_path_factory.mktemp("disturbed") / "study")
    with ExitStack() as stack:
        if os.geteuid() == 0 and shutil.which("mount"):
            try:
                stack.enter_context(small_disk(study / "output", "128k"))
            except OSError:
                pass
            except subprocess.CalledProcessError:  # a container may not mount
                pass
        yield study


def on_own_disk(study: Path) -> bool:
    return os.path.ismount(study / "output")


def test_a_full_disk_is_told_and_no_fault_of_ours(study, shared):
    if not on_own_disk(study):
        pytest.skip("a small disk takes root")
    said = whole(study, **shared)
    remount(study / "output", "size=64m")
    assert said.status == 4, said
    assert "The disk is full." in said.err
    assert "Traceback" not in said.err
    assert not left_running(study)


def test_a_disk_that_may_not_be_written_is_told(study):
    if not on_own_disk(study):
        pytest.skip("a disk of its own takes root")
    remount(study / "output", "ro")
    said = whole(study)
    remount(study / "output", "rw")
    assert said.status == 4, said
    assert "cannot be written" in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize(("at", "way"), list(enumerate(WAYS, start=1)), ids=[way.__name__ for way in WAYS])
def test_what_is_killed_leaves_nothing_running_and_nothing_cut_off(study, tmp_path, at, way):
    """Before the first, another run is refused, on another path to the same folder too."""
    run = start(study)
    assert wait_for_job(run, at)
    if way is disturbed.kill_run:
        (tmp_path / "other_way").symlink_to(study, target_is_directory=True)
        refused = whole(tmp_path / "other_way")
        assert (refused.status, "another run" in refused.err) == (1, True)
    way(run, study)
    said = ended(run)
    assert said.status in WAYS[way], said
    assert "Traceback" not in said.err
    if way is disturbed.kill_job:  # the step, and what it is most likely of
        assert re.search(r"(?m)^[^\[\n]+: A job was ended from outside, most likely because memory ran out", said.err)
    assert not left_running(study)
    assert not partial_files(study / "output")


def test_an_input_that_changes_while_a_run_is_on_ends_it_and_one_that_is_gone_is_named(study, shared):
    """The tables are checked anew, so that they or the inputs' hashes hold what no manifest may name beside the other.

    It is put back as it was, and the run below goes on from there.
    """
    shutil.rmtree(study / "output/clean", ignore_errors=True)
    patients = study / "patients.csv"
    before = patients.read_bytes()
    run = start(study, **shared)
    assert wait_for_job(run, 1)
    patients.write_bytes(before + b"p9,north,44,male,never,no,no\n")
    said = ended(run)
    assert said.status == 1, said
    assert "patients.csv: changed while the run was on" in said.err
    assert not (study / "output/manifest.json").exists()
    patients.unlink()
    said = whole(study)
    assert said.status == 1
    assert "patients.csv: there is no such file" in said.err
    patients.write_bytes(before)


# Nothing beside the study's own folder can be written but a folder for temporary files that is not the one named.
ELSEWHERE = {
    "TZ": "Pacific/Auckland",
    "LC_ALL": "de_DE.UTF-8",
    "LANG": "de_DE.UTF-8",
    "PYTHONHASHSEED": "7",
    **dict.fromkeys(("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MPLCONFIGDIR", "TMPDIR"), "/proc/nowhere"),
}


def test_in_the_end_the_bytes_are_those_of_an_undisturbed_run_in_another_zone_language_and_home(
    study, undisturbed, monkeypatch
):
    """The clock was set back a day meanwhile; zone, language and number of cores are others, no cache can be kept."""
    set_clock_back(study / "output")
    for name, value in ELSEWHERE.items():
        monkeypatch.setenv(name, value)
    said = whole(study, "--cores", "1")
    assert said.status == 0, said
    assert differences(undisturbed / "output", study / "output") == []
    assert not list((study / "output").rglob("*.unfinished*"))


@pytest.fixture
def as_it_was(undisturbed, tmp_path) -> Path:
    """A copy of what the undisturbed run left; what follows is done to that run's own folder."""
    return Path(shutil.copytree(undisturbed / "output", tmp_path / "output"))


def test_an_edited_table_between_is_made_again(undisturbed, as_it_was, shared):
    """It is nobody's to edit: nothing rests on it, and the outputs stay as they were."""
    between = undisturbed / "output/work/perforation_rate.csv"
    between.write_text(between.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    said = whole(undisturbed, **shared)
    assert said.status == 0, said
    assert "made again: work/perforation_rate.csv." in said.out
    assert differences(undisturbed / "output", as_it_was) == []
