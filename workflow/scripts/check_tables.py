"""Study folder -> checked tables, counts of rows, rows set aside, decisions."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import write_csv, write_parquet
    from liftseries.intake.study import empty_table, read_study
    from liftseries.study.plan import read_plan

    plan = read_plan(snakemake.params.study)
    intake = read_study(plan)
    for name, table in plan.schema.items():
        write_parquet(snakemake.output[name], intake.tables.get(name, empty_table(table)))
    write_csv(snakemake.output.counts, intake.counts)
    write_parquet(
        snakemake.output.not_applicable,
        intake.not_applicable["sites"].assign(site_id=intake.tables["sites"]["site_id"]),
    )
    write_csv(snakemake.output.set_aside, intake.set_aside)
    write_csv(snakemake.output.decisions, intake.decisions)
