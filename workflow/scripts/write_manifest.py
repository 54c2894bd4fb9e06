"""Inputs, outputs, plan and versions -> manifest.json."""

import json

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import write_text
    from liftseries.engine.provenance import manifest
    from liftseries.study.plan import read_plan

    found = manifest(read_plan(snakemake.params.study))
    write_text(snakemake.output.manifest, json.dumps(found, indent=2, ensure_ascii=False) + "\n")
