"""Inputs, outputs, plan and versions -> manifest.json."""

import json

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    from liftseries.outputs import write_text
    from liftseries.plan import read_plan
    from liftseries.provenance import manifest

    found = manifest(read_plan(snakemake.params.study))
    write_text(snakemake.output.manifest, json.dumps(found, indent=2, ensure_ascii=False) + "\n")
