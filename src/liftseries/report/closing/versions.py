"""What made the numbers: software, plan, input files."""

from __future__ import annotations

import json
from collections.abc import Iterable

import yaml

from liftseries.report.kit.blocks import Block, Paragraph, Verbatim
from liftseries.report.kit.writer import Writer


def versions(writer: Writer) -> Iterable[Block]:
    """Software, seed, input files, and the plan as the run read it."""
    material = writer.material
    if material.versions:
        yield writer.own_table(
            "versions",
            "What made the numbers and pictures.",
            ("Software", "Version"),
            material.versions.items(),
        )
    yield Paragraph(f"Random numbers start from {material.asked['seed']}.")
    if material.inputs:
        yield writer.own_table(
            "inputs",
            "The input files and their SHA-256.",
            ("File", "SHA-256"),
            material.inputs.items(),
        )
    yield Paragraph(
        "study.yaml as the run read it, without what names files:"
        if material.withheld
        else "study.yaml as the run read it, every default filled in:"
    )
    plain = json.loads(json.dumps(material.plan, default=str))
    yield Verbatim(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=90).rstrip())
