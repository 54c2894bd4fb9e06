"""requirements.cdx.json: the core's lock as a bill of materials (CycloneDX), the same bytes for the same lock.

`python3 make.py lock` runs it with cyclonedx-bom. That tool's bill is kept but for what names a registry or the line of
the lock, which also holds the hashes; the direct dependencies come from pyproject.toml. The result is held to
CycloneDX's own schema.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

ROOT = Path(__file__).resolve().parents[1]
LOCK, BILL = ROOT / "requirements.txt", ROOT / "requirements.cdx.json"
DIRECT = re.compile(r"[\w.-]+")


def main() -> None:
    made = subprocess.run(
        [sys.executable, "-m", "cyclonedx_py", "requirements", "--pyproject", ROOT / "pyproject.toml",
         "--output-reproducible", "--short-PURLs", "--spec-version", "1.6", LOCK],
        capture_output=True, encoding="utf-8", check=True,
    )  # fmt: skip
    text = json.dumps(_tidied(json.loads(made.stdout)), indent=2, ensure_ascii=False) + "\n"
    if wrong := JsonStrictValidator(SchemaVersion.V1_6).validate_str(text):
        sys.exit(f"{BILL.name} is no bill by CycloneDX's schema: {wrong}")
    BILL.write_text(text, encoding="utf-8", newline="\n")


def _tidied(bill: dict) -> dict:
    for part in bill["components"]:
        for name in ("externalReferences", "description"):
            part.pop(name, None)
        part["bom-ref"] = part["purl"]
    bill["components"].sort(key=lambda part: part["purl"])
    root = bill["metadata"]["component"]
    root.pop("externalReferences", None)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    direct = {DIRECT.match(line)[0].lower() for line in project["dependencies"]}
    needed = [part["bom-ref"] for part in bill["components"] if part["name"].lower() in direct]
    others = [{"ref": part["bom-ref"]} for part in bill["components"]]
    bill["dependencies"] = [{"ref": root["bom-ref"], "dependsOn": needed}, *others]
    for tool in bill["metadata"]["tools"]["components"]:
        tool.pop("externalReferences", None)
    return bill


if __name__ == "__main__":
    main()
