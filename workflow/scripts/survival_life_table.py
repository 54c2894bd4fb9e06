"""Yearly life table."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.life_table import fit_survival_life_table

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_life_table(implants)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.intervals, estimates.table)
