"""A finished run as an RO-Crate: the content of its manifest.json in the words of the Process Run Crate profile.

https://w3id.org/ro/wfrun/process/0.5, on RO-Crate 1.1. Inputs lie outside the output folder and are named by their
hashes. The crate holds no time of day, so that the same inputs give the same bytes; what the specification wants as the
date of publication is the month in which the data were closed.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

SPECIFICATION = "https://w3id.org/ro/crate/1.1"
PROFILE = "https://w3id.org/ro/wfrun/process/0.5"
# The one term that the profile has beyond RO-Crate 1.1.
TERMS = {"sha256": "https://w3id.org/ro/terms/workflow-run#sha256"}
# Not from the system's own table, which differs between machines.
FORMATS = {
    ".csv": "text/csv",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".html": "text/html",
    ".json": "application/json",
    ".parquet": "application/vnd.apache.parquet",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".py": "text/x-python",
    ".R": "text/x-r",
    ".svg": "image/svg+xml",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".yaml": "application/yaml",
}
Entity = dict[str, Any]


def crate(manifest: Mapping[str, Any], output: Path, closed: str) -> Entity:
    """The content of ro-crate-metadata.json.

    Parameters
    ----------
    manifest : the content of manifest.json; the hash of the crate itself is not in it yet
    output : the folder of the outputs, of which the sizes are taken
    closed : the month in which the data were closed, 2025-06
    """
    inputs, results = list(_inputs(manifest)), list(_results(manifest, output))
    software = list(_software(manifest["versions"]))
    study = manifest["plan"]["study"]
    entities = [
        {
            "@id": "ro-crate-metadata.json",
            "@type": "CreativeWork",
            "conformsTo": {"@id": SPECIFICATION},
            "about": {"@id": "./"},
        },
        {
            "@id": "./",
            "@type": "Dataset",
            "name": study["title"] or f"Study {manifest['study']}",
            "description": (
                "What a run of liftseries left of a case series: estimates, tables, figures and reports. A run notes "
                "no time of day; datePublished is the month in which the data were closed."
            ),
            "datePublished": closed,
            "license": {"@id": "#terms"},
            "conformsTo": {"@id": PROFILE},
            "hasPart": _references(results),
            "mentions": {"@id": "#run"},
        },
        {"@id": PROFILE, "@type": "CreativeWork", "name": "Process Run Crate", "version": "0.5"},
        {
            "@id": "#terms",
            "@type": "CreativeWork",
            "name": "Not published",
            "description": "Clinical data of patients: kept in the house; `liftseries release` makes what may leave.",
        },
        {
            "@id": "#run",
            "@type": "CreateAction",
            "name": "liftseries run",
            "description": "Tables checked, drilled depths recomputed, models fitted, reports written.",
            "actionStatus": "http://schema.org/CompletedActionStatus",
            "instrument": {"@id": "#liftseries"},
            "object": [*_references(inputs), {"@id": "#plan"}, {"@id": "#seed"}],
            "result": _references(results),
        },
        {
            "@id": "#plan",
            "@type": "PropertyValue",
            "name": "study.yaml with every default filled in",
            "value": json.dumps(manifest["plan"], ensure_ascii=False),
        },
        {"@id": "#seed", "@type": "PropertyValue", "name": "seed", "value": manifest["seed"]},
    ]
    return {"@context": [f"{SPECIFICATION}/context", TERMS], "@graph": [*entities, *software, *inputs, *results]}


def _references(entities: list[Entity]) -> list[Entity]:
    return [{"@id": entity["@id"]} for entity in entities]


def _inputs(manifest: Mapping[str, Any]) -> Iterator[Entity]:
    for name, digest in manifest["inputs"].items():
        yield {"@id": f"#input/{quote(name)}", "@type": "CreativeWork", "name": name, **_format(name), "sha256": digest}


def _results(manifest: Mapping[str, Any], output: Path) -> Iterator[Entity]:
    for name, digest in manifest["outputs"].items():
        size = (output / name).stat().st_size
        file = {"@id": quote(name), "@type": "File", "name": name, **_format(name)}
        yield {**file, "contentSize": str(size), "sha256": digest}
    # It holds the hash of this crate, so that this crate cannot hold its hash.
    yield {"@id": "manifest.json", "@type": "File", "name": "manifest.json", **_format("manifest.json")}


def _format(name: str) -> dict[str, str]:
    ending = Path(name).suffix
    return {"encodingFormat": FORMATS[ending]} if ending in FORMATS else {}


def _software(versions: Mapping[str, str]) -> Iterator[Entity]:
    for name, version in versions.items():
        needs = {"softwareRequirements": [{"@id": f"#{other}"} for other in versions if other != name]}
        yield {
            "@id": f"#{name}",
            "@type": "SoftwareApplication",
            "name": name,
            "version": version,
            **(needs if name == "liftseries" else {}),
        }
