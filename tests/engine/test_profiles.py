"""Profiles: found, refused in a user's words, and what jobs elsewhere are told of the run's inputs."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

import pytest
import yaml
from studies import write_study

from liftseries.base.errors import UsageError
from liftseries.base.home import folder
from liftseries.cli import main
from liftseries.engine.profiles import BEGUN, begun_with, jobs_elsewhere, profile_folder, shipped
from liftseries.engine.warm import ADDRESS
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan


def own(tmp_path: Path, words: str, name: str = "config.yaml") -> str:
    (tmp_path / name).write_text(words, encoding="utf-8")
    return str(tmp_path)


@pytest.mark.parametrize("name", ["config.yaml", "profile.yaml"])
def test_a_profile_of_ones_own_is_its_folder(tmp_path, name):
    assert profile_folder(own(tmp_path, "cores: 1\n", name)) == tmp_path


def test_what_is_wrong_with_a_profile_is_told(tmp_path):
    with pytest.raises(UsageError, match=r'no profile "slrum".*Did you mean "slurm"'):
        profile_folder("slrum")
    with pytest.raises(UsageError, match="no profile"):
        profile_folder(str(tmp_path))
    with pytest.raises(
        UsageError, match=r'"nowhere_known".*not installed: pip install "snakemake-executor-plugin-nowhere'
    ):
        profile_folder(own(tmp_path, "executor: nowhere_known\n"))
    for words in ("- a list\n", "{", "\0"):
        with pytest.raises(UsageError, match="a profile of Snakemake is needed"):
            profile_folder(own(tmp_path, words))


def test_without_a_cluster_a_run_says_so_at_once(tmp_path, monkeypatch, capsys):
    """Snakemake would wait for ever."""
    monkeypatch.setattr("liftseries.engine.profiles.find_spec", lambda name: object())
    study = write_study(tmp_path / "study")
    monkeypatch.setenv("PATH", str(tmp_path))
    assert main(["run", str(study), "--profile", "slurm"]) == 2
    assert "sinfo does not answer" in capsys.readouterr().err


def test_the_executor_of_a_shipped_profile_is_an_extra():
    extras = (folder("workflow").parent / "pyproject.toml").read_text(encoding="utf-8")
    for name in shipped():
        profile = yaml.safe_load((folder("workflow") / "profiles" / name / "config.yaml").read_text(encoding="utf-8"))
        assert f'{name} = ["snakemake-executor-plugin-{profile["executor"]}' in extras


def test_jobs_elsewhere_go_by_the_hashes_that_the_run_began_with(tmp_path):
    study = write_study(tmp_path / "study")
    plan = read_plan(study)
    began = input_hashes(plan)
    with jobs_elsewhere(plan, {ADDRESS: "here", "KEPT": "1"}) as environment:
        assert environment == {"KEPT": "1"}
        (study / "patients.csv").write_text("changed\n", encoding="utf-8")
        assert begun_with(plan, is_main=False) == began
        assert begun_with(plan, is_main=True) == input_hashes(plan) != began
    assert not (plan.output / BEGUN).exists()
    assert begun_with(plan, is_main=False) == input_hashes(plan)  # Snakemake started by hand


def test_the_note_goes_however_a_run_ends(tmp_path):
    plan = read_plan(write_study(tmp_path / "study"))
    with suppress(KeyboardInterrupt), jobs_elsewhere(plan, {}):
        assert json.loads((plan.output / BEGUN).read_text(encoding="utf-8")) == input_hashes(plan)
        raise KeyboardInterrupt
    assert not (plan.output / BEGUN).exists()
