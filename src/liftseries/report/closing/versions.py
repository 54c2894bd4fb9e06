"""What made the numbers: software, seed, input files."""

from __future__ import annotations

import json
from collections.abc import Iterable

import yaml

from liftseries.report.kit.blocks import Block, Paragraph, Verbatim
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def versions(writer: Writer) -> Iterable[Block]:
    """Software, seed, input files; the plan itself only where no manifest.json goes with the report."""
    material = writer.material
    if material.versions:
        rows = material.versions.items()
        yield writer.own_table("versions", "What made the numbers and pictures.", ("Software", "Version"), rows)
    yield Paragraph(say("closing.seed", seed=material.asked["seed"]))
    if material.inputs:
        rows = material.inputs.items()
        yield writer.own_table("inputs", "The input files and their SHA-256.", ("File", "SHA-256"), rows)
    if not material.withheld:
        yield Paragraph(say("closing.plan_elsewhere"))
        return
    yield Paragraph(say("closing.plan_released"))
    plain = json.loads(json.dumps(material.asked, default=str))
    yield Verbatim(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=90).rstrip())
