"""Cases and visits -> one row an implant."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv, write_parquet
    from liftseries.models.shared.follow_up import follow_up

    cases, visits = pd.read_parquet(snakemake.input.cases), pd.read_parquet(snakemake.input.visits)
    followed = follow_up(visits, cases)
    write_parquet(snakemake.output.implants, followed.implants)
    write_csv(snakemake.output.left_out, followed.left_out("follow_up"))
