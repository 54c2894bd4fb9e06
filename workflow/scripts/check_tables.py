"""Study folder -> checked tables, counts of rows, rows set aside."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    from liftseries.intake.study import read_study
    from liftseries.outputs import write_csv, write_parquet
    from liftseries.plan import read_plan

    intake = read_study(read_plan(snakemake.params.study))
    for name, table in intake.tables.items():
        write_parquet(snakemake.output[name], table)
    write_csv(snakemake.output.counts, intake.counts)
    write_csv(snakemake.output.set_aside, intake.set_aside)
