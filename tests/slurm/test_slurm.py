"""The demo on a real SLURM of this machine: the same bytes as where it was run alone, and what becomes of failures.

They wait for the cluster most of their time, so they are asked for by LIFTSERIES_SLURM=1 and run beside the others.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
import yaml
from slurm.one_machine import cluster, is_installed
from whole_study.conftest import Said, copy_demo, liftseries

from liftseries.base.home import folder
from liftseries.engine.provenance import output_hashes
from liftseries.engine.standing import last_manifest

pytestmark = pytest.mark.skipif(
    not os.environ.get("LIFTSERIES_SLURM"), reason="asked for by LIFTSERIES_SLURM=1, see tests/README.md"
)


@pytest.fixture(scope="module")
def slurm(tmp_path_factory) -> dict[str, str]:
    assert is_installed(), "needs SLURM: munge, slurm-client, slurmctld, slurmd"
    with cluster(tmp_path_factory.mktemp("slurm")) as environment:
        yield environment


@pytest.fixture(scope="module")
def quick(tmp_path_factory) -> str:
    """A profile of one's own: that of slurm, with three more tries and the shortest wait."""
    shipped = (folder("workflow") / "profiles" / "slurm" / "config.yaml").read_text(encoding="utf-8")
    own = tmp_path_factory.mktemp("profile") / "config.yaml"
    changes = {"retries": 3, "slurm-init-seconds-before-status-checks": 1}
    own.write_text(yaml.safe_dump(yaml.safe_load(shipped) | changes), encoding="utf-8")
    return str(own.parent)


def submitted(study: Path, environment: dict[str, str], profile: str = "slurm") -> Said:
    words = [sys.executable, "-m", "liftseries.cli", "run", str(study), "--profile", profile]
    done = subprocess.run(words, env=environment, capture_output=True, encoding="utf-8", timeout=900)
    return Said(done.returncode, done.stdout, done.stderr)


def hashes(study: Path) -> dict[str, str]:
    """Of manifest.json and of all that it names, as they lie there."""
    last = last_manifest(study / "output")
    return output_hashes(
        study / "output", ["manifest.json", "ro-crate-metadata.json", *last["outputs"], *last["between"]]
    )


def test_a_cluster_gives_the_same_bytes(slurm, tmp_path):
    alone = copy_demo(tmp_path / "alone")
    assert liftseries("run", alone).status == 0
    study = copy_demo(tmp_path / "elsewhere")
    said = submitted(study, slurm)
    assert said.status == 0, said.err
    assert hashes(study) == hashes(alone)
    assert len(hashes(study)) > 50
    words = (study / "output" / "logs" / "snakemake.log").read_text(encoding="utf-8")
    assert 4 <= words.count("has been submitted with SLURM jobid") <= 10  # all of it, in a few submissions
    assert str(study) not in (study / "output" / "manifest.json").read_text(encoding="utf-8")


def test_a_study_with_a_problem_is_not_tried_to_the_end_and_fails_in_its_own_words(slurm, quick, tmp_path):
    study = copy_demo(tmp_path / "broken")
    sites = study / "heath_sites.csv"
    sites.write_text(sites.read_text(encoding="utf-8").replace(",guided,", ",sideways,", 1), encoding="utf-8")
    said = submitted(study, slurm, quick)
    assert said.status == 1
    assert "heath_sites.csv" in said.err
    assert "Traceback" not in said.err
    told = (study / "output" / "logs" / "snakemake.log").read_text(encoding="utf-8")
    # Snakemake may have submitted the next try before it is called back, on a busy machine two; not all four.
    assert told.count("has been submitted") < 4
    assert waited_for(lambda: not active(slurm))


def test_an_interrupted_run_calls_its_jobs_back(slurm, quick, tmp_path):
    study = copy_demo(tmp_path / "stopped")
    words = [sys.executable, "-m", "liftseries.cli", "run", str(study), "--profile", quick, "--quiet"]
    run = subprocess.Popen(words, env=slurm, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        assert waited_for(lambda: active(slurm))
    finally:
        run.kill()  # nothing of ours can be done any more: Snakemake is told by the kernel
        run.wait()
    assert waited_for(lambda: not active(slurm))


def active(environment: dict[str, str]) -> list[str]:
    said = subprocess.run(["squeue", "-h"], env=environment, capture_output=True, encoding="utf-8", check=True)
    return said.stdout.splitlines()


def waited_for(is_so, seconds: float = 60) -> bool:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if is_so():
            return True
        time.sleep(0.3)
    return False
