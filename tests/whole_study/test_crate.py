"""The run as an RO-Crate: valid by the profile of a Process Run, and of the same hashes as manifest.json."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import pytest

from liftseries.base.reading import sha256

VALIDATOR = "LIFTSERIES_CRATE_VALIDATOR"  # the Python of an environment that holds the validator


def test_crate_is_valid_by_the_profile_of_a_process_run(separated):
    python = os.environ.get(VALIDATOR)
    if not python:
        if os.environ.get("CI"):
            pytest.fail(f"{VALIDATOR} names no Python")
        pytest.skip(f"{VALIDATOR} names no Python with roc-validator and rocrate")
    script = Path(__file__).with_name("crate_validator.py")
    alone = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    command = [python, script, separated[0] / "output"]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", env=alone)
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]


def test_crate_describes_every_file_of_the_manifest_by_the_hash_that_it_has(separated):
    output = separated[0] / "output"
    manifest, crate = (
        json.loads((output / name).read_text(encoding="utf-8")) for name in ("manifest.json", "ro-crate-metadata.json")
    )
    described = {entity["name"]: entity for entity in crate["@graph"] if entity["@type"] == "File"}
    assert {*described} == {*manifest["outputs"], "manifest.json"} - {"ro-crate-metadata.json"}
    for name, entity in described.items():
        if name != "manifest.json":
            assert entity["sha256"] == manifest["outputs"][name] == sha256(output / name)
            assert int(entity["contentSize"]) == (output / name).stat().st_size
            assert "encodingFormat" in entity, name
