"""The job of any rule: the function that its param `does` names; see `liftseries.engine.script`."""

from liftseries.engine.script import run

run(snakemake)
