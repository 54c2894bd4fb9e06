"""The bill of materials beside the lock: what the lock holds, and nothing of when or where it was made."""

from __future__ import annotations

import json
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
BILL = (ROOT / "requirements.cdx.json").read_text(encoding="utf-8")
PINNED = re.compile(r"(?m)^([\w.-]+)==([\w.!+-]+)")


def test_the_bill_holds_what_is_locked():
    locked = set(PINNED.findall((ROOT / "requirements.txt").read_text(encoding="utf-8")))
    assert {(part["name"], part["version"]) for part in json.loads(BILL)["components"]} == locked
    assert len(locked) > 20


def test_what_is_asked_for_is_its_direct_dependencies():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {re.match(r"[\w.-]+", line)[0] for line in project["dependencies"]}
    root, *_ = json.loads(BILL)["dependencies"]
    assert {re.match(r"pkg:pypi/([\w.-]+)@", ref)[1] for ref in root["dependsOn"]} == asked


def test_the_bill_names_no_registry_and_no_moment():
    assert set(re.findall(r"https?://[^/\"]+", BILL)) == {"http://cyclonedx.org"}  # of its schema
    assert not {"serialNumber", "timestamp"} & {*json.loads(BILL), *json.loads(BILL)["metadata"]}
