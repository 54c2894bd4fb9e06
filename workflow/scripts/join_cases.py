"""Sites, patients and depths -> models/cases.parquet."""

from liftseries.engine.job import joined_cases, logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import write_parquet

    write_parquet(snakemake.output.cases, joined_cases(snakemake.input, snakemake.params))
