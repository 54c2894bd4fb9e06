"""Whatever disturbs a run: its words, its status, nothing left running, in the end the bytes of an undisturbed one.

One study is disturbed again and again, so that the whole costs little more than a run; `disturbed.py` does more.
"""

from __future__ import annotations

import os
import shutil
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

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are looked for as Linux shows them")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> Path:
    study = small_study(tmp_path_factory.mktemp("undisturbed") / "study")
    assert whole(study).status == 0
    return study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """The study that all the tests here disturb in turn, on a disk of its own where that can be had."""
    study = small_study(tmp_path_factory.mktemp("disturbed") / "study")
    with ExitStack() as stack:
        if os.geteuid() == 0 and shutil.which("mount"):
            try:
                stack.enter_context(small_disk(study / "output", "256k"))
            except OSError:
                pass
            except disturbed.subprocess.CalledProcessError:  # a container may not mount
                pass
        yield study


def on_own_disk(study: Path) -> bool:
    return os.path.ismount(study / "output")


def test_a_full_disk_is_told_and_no_fault_of_ours(study):
    if not on_own_disk(study):
        pytest.skip("a small disk takes root")
    said = whole(study)
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
def test_what_is_killed_leaves_nothing_running_and_nothing_cut_off(study, at, way):
    run = start(study)
    assert wait_for_job(run, at)
    way(run, study)
    said = ended(run)
    assert said.status in WAYS[way], said
    assert "Traceback" not in said.err
    assert not left_running(study)
    assert not partial_files(study / "output")


def test_two_runs_and_two_paths_to_one_folder_refuse_each_other(study, tmp_path):
    (tmp_path / "other_way").symlink_to(study, target_is_directory=True)
    run = start(study)
    assert wait_for_job(run, 1)
    said = whole(tmp_path / "other_way")
    disturbed.kill_run(run, study)
    ended(run)
    assert said.status == 1
    assert "another run" in said.err


def test_in_the_end_the_bytes_are_those_of_an_undisturbed_run_in_another_zone_and_language(
    study, undisturbed, monkeypatch
):
    """The clock was set back a day meanwhile; zone, language and number of cores are others."""
    set_clock_back(study / "output")
    for name, value in {"TZ": "Pacific/Auckland", "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}.items():
        monkeypatch.setenv(name, value)
    said = whole(study, "--cores", "1")
    assert said.status == 0, said
    assert differences(undisturbed / "output", study / "output") == []
    assert not list((study / "output").rglob("*.unfinished*"))


@pytest.fixture
def as_it_was(undisturbed, tmp_path) -> Path:
    """A copy of what the undisturbed run left; what follows is done to that run's own folder."""
    return Path(shutil.copytree(undisturbed / "output", tmp_path / "output"))


def test_an_edited_table_between_is_made_again(undisturbed, as_it_was):
    """It is nobody's to edit: nothing rests on it, and the outputs stay as they were."""
    between = undisturbed / "output/work/perforation_rate.csv"
    between.write_text(between.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    said = whole(undisturbed)
    assert said.status == 0, said
    assert "made again: work/perforation_rate.csv." in said.out
    assert differences(undisturbed / "output", as_it_was) == []


def test_an_input_that_changes_while_a_run_is_on_ends_it(undisturbed, as_it_was):
    """After its tables were checked: they hold the old values, so that no manifest may name the new file."""
    (undisturbed / "output/manifest.json").unlink()
    shutil.rmtree(undisturbed / "output/clean")
    patients = undisturbed / "patients.csv"
    before = patients.read_bytes()
    run = start(undisturbed)
    assert wait_for_job(run, 1)
    patients.write_bytes(before + b"p9,north,44,male,never,no,no\n")
    said = ended(run)
    assert said.status == 1, said
    assert "patients.csv: changed while the run was on" in said.err
    assert not (undisturbed / "output/manifest.json").exists()
    patients.unlink()
    said = whole(undisturbed)
    assert said.status == 1
    assert "patients.csv: there is no such file" in said.err
    patients.write_bytes(before)
    assert whole(undisturbed).status == 0
    assert differences(undisturbed / "output", as_it_was) == []
