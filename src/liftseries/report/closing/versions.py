"""What made the numbers: software, seed, input files; what changed since the run before."""

from __future__ import annotations

import json
from collections.abc import Iterable

import yaml

from liftseries.report.kit.blocks import Block, Paragraph, Verbatim
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

STAYS_HOME = ("audit", "comparison")  # keys of the plan: they name units, and what was expected of them


def versions(writer: Writer) -> Iterable[Block]:
    """Software, seed, input files; the plan itself only where no manifest.json goes with the report."""
    material = writer.material
    if material.versions:
        rows = material.versions.items()
        yield writer.own_table("versions", "What made the numbers and pictures.", ("Software", "Version"), rows)
    yield Paragraph(say("closing.seed", seed=material.asked["seed"]))
    if material.inputs:
        rows = material.inputs.items()
        yield writer.own_table(
            "inputs", "The input files and their SHA-256.", ("File", "SHA-256"), rows, "manifest.json"
        )
    if not material.withheld:
        yield Paragraph(say("closing.plan_elsewhere"))
        return
    yield Paragraph(say("closing.plan_released"))
    told = {key: value for key, value in material.asked.items() if key not in STAYS_HOME}
    plain = json.loads(json.dumps(told, default=str))
    yield Verbatim(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=90).rstrip())


def since_earlier(writer: Writer) -> Iterable[Block]:
    """Rows and headlines new, gone and changed since the run that this one replaced; never of a report that leaves."""
    rows = writer.material.table("since_earlier")
    if writer.material.withheld or rows.empty:
        return
    changed = rows[rows[["new", "gone", "changed"]].sum(axis=1) > 0]
    told = [
        say("closing.since_table", table=row["table"], new=row["new"], gone=row["gone"], changed=row["changed"])
        for _, row in changed.iterrows()
        if row["table"] != "results.csv"
    ]
    headlines = rows[rows["table"] == "results.csv"].iloc[0]
    rows_told = say("closing.since_rows", tables=told) if told else say("closing.since_no_rows")
    numbers = say("closing.since_headlines", new=headlines["new"], gone=headlines["gone"], moved=headlines["changed"])
    yield Paragraph(" ".join([rows_told, numbers, say("closing.since_where")]))
